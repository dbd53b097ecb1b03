"""The picture of a past season under several programs."""

from __future__ import annotations

from service.operations.review.draw_comparison import draw_comparison
from service.records.comparison import Program, YearFigures
from service.translations import wording


def year(
    program: Program, year: int, gross_mm: float, drained_mm: float, *, known_days: int = 200
) -> YearFigures:
    """Invented figures of a year."""
    return YearFigures(
        year=year, program=program, day_count=365, season_day_count=200,
        known_day_count=known_days, gross_mm=gross_mm, volume_m3=0.0,
        irrigation_drainage_mm=drained_mm, rain_drainage_mm=0.0, stress_day_count=4,
        lost_crop_et_mm=0.0, water_cost=None, nitrogen_lost_kg_per_ha=None,
    )  # fmt: skip


def test_bars_are_the_mean_year_in_the_units_asked_for() -> None:
    years = [
        each
        for program in Program
        for each in (year(program, 2022, 254.0, 0.0), year(program, 2023, 762.0, 254.0))
    ]
    names = {program: program.value for program in Program}
    drawn = draw_comparison("North <rows>", years, names, is_us=True)
    assert "rule: 20.0 in" in drawn and "daily: 20.0 in" in drawn
    assert "North &lt;rows&gt;" in drawn
    assert "rule, days of stress: 4" in drawn
    assert "rule: 508.0 mm" in draw_comparison("North", years, names, is_us=False)


def test_the_axis_speaks_the_readers_language() -> None:
    years = [year(program, 2023, 254.0, 0.0) for program in Program]
    names = {program: program.value for program in Program}
    drawn = draw_comparison("North", years, names, is_us=True, words=wording("es", "us"))
    assert "pulg</text>" in drawn and " in</text>" not in drawn


def test_a_season_that_is_known_in_part_is_not_drawn_beside_whole_ones() -> None:
    names = {program: program.value for program in Program}
    whole = [year(program, 2023, 500.0, 0.0) for program in Program]
    assert "own: 500.0 mm" in draw_comparison("North", whole, names, is_us=False)
    part = [*whole[:-1], year(Program.OWN, 2023, 300.0, 0.0, known_days=199)]
    drawn = draw_comparison("North", part, names, is_us=False)
    assert "own:" not in drawn and "daily: 500.0 mm" in drawn
