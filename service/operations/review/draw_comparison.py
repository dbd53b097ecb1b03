"""A picture of a past season under several programs: water that stayed, and water that drained."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from markupsafe import Markup

from service.drawing.bars import WaterBar, week_bars
from service.records.comparison import Program, YearFigures, mean_year, whole_programs
from service.unit_sizes import MM_PER_INCH

if TYPE_CHECKING:
    from service.translations import Wording


def draw_comparison(
    name: str,
    years: Sequence[YearFigures],
    program_names: Mapping[Program, str],
    *,
    is_us: bool,
    words: Wording | None = None,
) -> Markup:
    """The mean year of a block under each program; the stroke is the plan that knew the weather.

    A program of which a part of a season is not known is left out.
    """
    gettext = _english if words is None else words.gettext
    per, unit = (MM_PER_INCH, "in") if is_us else (1.0, "mm")
    unit = unit if words is None else words.unit(unit)
    means = {program: mean_year(years, program) for program in whole_programs(years)}
    needed = means[Program.FORESEEN].gross_mm / per
    rows = [
        WaterBar(
            label=gettext(
                "{program}, days of stress: {days}",
                program=program_names[program], days=f"{each.stress_day_count:.0f}",
            ),
            solid=(each.gross_mm - each.irrigation_drainage_mm) / per,
            hatched=each.irrigation_drainage_mm / per,
            stroke=needed,
        )
        for program, each in means.items()
    ]  # fmt: skip
    return week_bars(
        gettext("{name}: water of a year", name=name),
        "; ".join(
            f"{program_names[program]}: {each.gross_mm / per:.1f} {unit}"
            for program, each in means.items()
        ),
        rows,
        key=(
            gettext("irrigation that stayed"),
            gettext("irrigation that drained"),
            gettext("the plan with known weather"),
        ),
        unit=unit,
        name="programs",
    )


def _english(message: str, **values: object) -> str:
    return message.format(**values)
