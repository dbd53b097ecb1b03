"""The tasks of a season: each crop's own days, in both hemispheres, with what was tested.

Days of leaf windows are those of ``crops.toml`` and their sources; days around a watering season
are this project's choice and stand here as such.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.nutrition.season_tasks import HORIZON_DAYS, group_tasks, season_tasks
from service.nutrition.soil_ph import SulfurPart
from service.nutrition.tables import crops
from service.nutrition.task_days import BlockSeason, SeasonTask, TakenSample
from service.nutrition.task_words import TaskKind

DAY = date(2026, 6, 1)
PEACH = BlockSeason(
    crop_key="peach", latitude_deg=34.0, watering_start_doy=60.0, watering_end_doy=304.0
)
BLUEBERRY = replace(PEACH, crop_key="blueberry")
GRAPE = replace(PEACH, crop_key="grape-wine")


def of_kind(facts: BlockSeason, kind: TaskKind, day: date = DAY) -> list[SeasonTask]:
    return [each for each in season_tasks(facts, day) if each.kind is kind]


def days_of(task: SeasonTask) -> tuple[str, str]:
    return task.first_day.isoformat(), task.last_day.isoformat()


def test_a_peach_block_has_a_whole_year_of_tasks() -> None:
    found = {each.kind: days_of(each) for each in season_tasks(PEACH, DAY)}
    assert found == {
        TaskKind.NITROGEN: ("2026-03-01", "2026-08-15"),
        TaskKind.LEAF_SAMPLE: ("2026-07-15", "2026-08-31"),
        TaskKind.LAST_NITROGEN: ("2026-08-15", "2026-08-15"),
        TaskKind.SOIL_SAMPLE: ("2026-09-15", "2026-11-15"),
        TaskKind.END_OF_SEASON: ("2026-11-01", "2026-11-21"),
        TaskKind.WINTER: ("2026-11-22", "2027-01-31"),
        TaskKind.WATER_TEST: ("2027-01-04", "2027-02-08"),
        TaskKind.START_UP: ("2027-02-01", "2027-02-28"),
        TaskKind.CATCH_TEST: ("2027-03-01", "2027-03-29"),
    }


def test_the_south_has_the_same_tasks_half_a_year_away() -> None:
    # A season from September to May: the block's own days, which are not moved.
    south = replace(PEACH, latitude_deg=-34.0, watering_start_doy=244.0, watering_end_doy=120.0)
    found = {each.kind: each for each in season_tasks(south, DAY)}
    assert days_of(found[TaskKind.LEAF_SAMPLE]) == ("2027-01-14", "2027-03-02")
    assert days_of(found[TaskKind.NITROGEN]) == ("2026-09-01", "2027-02-14")
    assert days_of(found[TaskKind.START_UP]) == ("2026-08-04", "2026-08-31")
    assert days_of(found[TaskKind.END_OF_SEASON]) == ("2027-05-01", "2027-05-21")
    assert found[TaskKind.SOIL_SAMPLE].first_day.month == 3


def test_kinds_of_a_crop_that_are_sampled_apart_have_a_task_each() -> None:
    found = of_kind(BLUEBERRY, TaskKind.LEAF_SAMPLE)
    assert [(each.crops, days_of(each)) for each in found] == [
        (("Rabbiteye blueberry",), ("2026-06-15", "2026-08-15")),
        (("Highbush blueberry", "Southern highbush blueberry"), ("2026-07-25", "2026-08-10")),
    ]
    assert "About 50 leaves, at least 40" in found[1].how[0]


def test_a_leaf_test_says_which_kind_a_block_is() -> None:
    taken = TakenSample("highbush-blueberry", "leaf", "mid-season", date(2025, 8, 1))
    known = replace(BLUEBERRY, samples=(taken,))
    (found,) = of_kind(known, TaskKind.LEAF_SAMPLE)
    assert (found.crops, found.done_on, found.before_on) == ((), None, date(2025, 8, 1))
    again = replace(taken, day=date(2026, 7, 20))  # within 14 days of the window
    (found,) = of_kind(replace(known, samples=(again, taken)), TaskKind.LEAF_SAMPLE)
    assert (found.done_on, found.before_on) == (date(2026, 7, 20), None)


def test_grapes_are_sampled_by_petiole_at_their_stages() -> None:
    found = of_kind(GRAPE, TaskKind.LEAF_SAMPLE)
    assert [(each.detail, each.title) for each in found] == [
        ("grape.petiole.bloom", "Petiole sample, bloom"),
        ("grape.petiole.veraison", "Petiole sample, veraison"),
    ]
    assert found[0].how[0].startswith("The stage decides")
    # A laboratory's instructions: full bloom mid to late June, early veraison mid-July to
    # mid-August; both lie within the days in which the stage is looked for.
    assert found[0].first_day <= date(2026, 6, 15) and found[0].last_day >= date(2026, 6, 30)
    assert found[1].first_day <= date(2026, 7, 15) and found[1].last_day >= date(2026, 8, 15)
    late = TakenSample("grape", "petiole", "september", date(2025, 9, 5))
    stages = {
        each.detail for each in of_kind(replace(GRAPE, samples=(late,)), TaskKind.LEAF_SAMPLE)
    }
    assert "grape.petiole.september" in stages  # only where it has been sampled before


def test_veraison_is_counted_from_the_bloom_that_was_sampled() -> None:
    # Univ. of Missouri: 70 to 100 days after bloom.
    bloom = TakenSample("grape", "petiole", "bloom", date(2026, 5, 20))
    for samples, days in (
        ((bloom,), ("2026-07-29", "2026-08-28")),
        ((replace(bloom, day=date(2025, 6, 10)),), ("2026-07-15", "2026-08-31")),
    ):
        found = of_kind(replace(GRAPE, samples=samples), TaskKind.LEAF_SAMPLE)
        (late,) = [each for each in found if each.detail == "grape.petiole.veraison"]
        assert days_of(late) == days
    # Over by the block's own stage, though not by the common days: next comes the next year's.
    over = of_kind(replace(GRAPE, samples=(bloom,)), TaskKind.LEAF_SAMPLE, date(2026, 8, 29))
    assert [days_of(each)[0] for each in over] == ["2027-05-10", "2027-07-15"]
    late_bloom = replace(GRAPE, samples=(replace(bloom, day=date(2026, 6, 25)),))
    found = of_kind(late_bloom, TaskKind.LEAF_SAMPLE, date(2026, 9, 20))
    assert ("2026-09-03", "2026-10-03") in [days_of(each) for each in found]


def test_every_crop_with_leaf_ranges_has_days_for_its_samples() -> None:
    for crop in crops().values():
        for name in crop.block_crops:
            facts = replace(PEACH, crop_key=name)
            details = {each.detail for each in of_kind(facts, TaskKind.LEAF_SAMPLE)}
            assert details, name
    # Days of a stage are given exactly where the window has none.
    for crop in crops().values():
        for window in crop.windows:
            assert bool(window.opens) is (window.looked_for is None), (crop.key, window.stage)
            assert window.looked_for is None or window.looked_for_source


def test_soil_is_sampled_every_year_where_the_crop_wants_it_acid() -> None:
    tested = date(2025, 10, 1)
    (acid,) = of_kind(replace(BLUEBERRY, soil_day=tested), TaskKind.SOIL_SAMPLE)
    assert (acid.first_day.year, acid.before_on) == (2026, date(2025, 10, 1))
    assert of_kind(replace(PEACH, soil_day=tested), TaskKind.SOIL_SAMPLE) == []
    (second,) = of_kind(replace(PEACH, soil_day=tested), TaskKind.SOIL_SAMPLE, date(2027, 6, 1))
    assert second.first_day == date(2027, 9, 15)


def test_acid_is_for_crops_of_acid_soils_with_water_that_needs_it() -> None:
    assert of_kind(PEACH, TaskKind.ACID) == []
    (unknown,) = of_kind(BLUEBERRY, TaskKind.ACID)
    assert unknown.how[0].startswith("No water analysis")
    assert days_of(unknown) == ("2026-03-01", "2026-10-31")
    (known,) = of_kind(replace(BLUEBERRY, water_needs_acid=True), TaskKind.ACID)
    assert "titration" in known.how[0]
    assert of_kind(replace(BLUEBERRY, water_needs_acid=False), TaskKind.ACID) == []


def test_the_blocks_own_last_day_for_nitrogen_ends_its_window() -> None:
    own = replace(PEACH, last_nitrogen_doy=196.0)
    (last,) = of_kind(own, TaskKind.LAST_NITROGEN)
    (window,) = of_kind(own, TaskKind.NITROGEN)
    assert last.first_day == window.last_day == date(2026, 7, 15)
    assert of_kind(replace(PEACH, crop_key="pecan"), TaskKind.NITROGEN) == []


def test_sulfur_comes_once_for_each_soil_test_and_then_the_soil_is_tested_again() -> None:
    split = replace(
        BLUEBERRY,
        soil_day=date(2026, 5, 20),
        sulfur_parts=(SulfurPart(1, 228.5, 256.1), SulfurPart(2, 228.5, 256.1)),
    )
    (first,) = of_kind(split, TaskKind.SULFUR)
    assert days_of(first) == ("2026-09-15", "2026-10-31")
    assert first.note.startswith("Part 1 of 2: 256 kg/ha")
    (again,) = of_kind(split, TaskKind.SOIL_RETEST)
    assert days_of(again) == ("2027-01-29", "2027-09-14")
    # Its window over and the soil not tested again: never the first part once more.
    (later,) = of_kind(split, TaskKind.SULFUR, date(2026, 12, 1))
    assert (later.detail, later.first_day) == ("part-2", date(2027, 9, 15))
    assert later.how[0].startswith("Only if the new soil test still asks for it")


def test_a_system_that_is_never_closed_is_checked_each_year_all_the_same() -> None:
    whole = replace(PEACH, watering_start_doy=math.nan, watering_end_doy=math.nan)
    kinds = {each.kind for each in season_tasks(whole, DAY)}
    assert TaskKind.START_UP in kinds and TaskKind.END_OF_SEASON not in kinds
    (frost,) = of_kind(whole, TaskKind.WINTER)
    assert "freeze" in frost.how[0]
    assert of_kind(replace(whole, latitude_deg=10.0), TaskKind.WINTER) == []


@settings(max_examples=300)
@example(day=date(2024, 1, 1), latitude_deg=0.0, crop_key="blueberry", doys=(2, 1), soil_day=None)
@given(
    day=st.dates(date(2024, 1, 1), date(2029, 12, 31)),
    latitude_deg=st.floats(-60.0, 60.0),
    crop_key=st.sampled_from(["blueberry", "grape-wine", "peach", "strawberry", "apple", "pecan"]),
    doys=st.tuples(st.integers(1, 365), st.integers(1, 365)),
    soil_day=st.none() | st.dates(date(2023, 1, 1), date(2029, 12, 31)),
)
def test_every_window_is_open_or_opens_within_a_year(
    day: date, latitude_deg: float, crop_key: str, doys: tuple[int, int], soil_day: date | None
) -> None:
    facts = BlockSeason(
        crop_key=crop_key,
        latitude_deg=latitude_deg,
        watering_start_doy=float(doys[0]),
        watering_end_doy=float(doys[1]),
        soil_day=soil_day,
        sulfur_parts=(SulfurPart(1, 100.0, 112.0), SulfurPart(2, 100.0, 112.0)),
    )
    found = season_tasks(facts, day)
    keys = [(each.kind, each.detail, each.first_day) for each in found]
    assert len(set(keys)) == len(keys)
    for task in found:
        assert task.first_day <= task.last_day
        assert task.last_day >= day
        assert task.first_day < day + timedelta(days=HORIZON_DAYS)
        assert task.source and task.reason and task.how
    # Looked at a day later, what has not closed has the same days.
    later = {
        (each.kind, each.detail, *days_of(each))
        for each in season_tasks(facts, day + timedelta(days=1))
    }
    kept = {(each.kind, each.detail, *days_of(each)) for each in found if each.last_day > day}
    assert kept <= later


def test_equal_tasks_are_grouped_and_a_block_that_is_done_stays_apart() -> None:
    done = replace(PEACH, samples=(TakenSample("peach", "leaf", "mid-summer", date(2026, 7, 20)),))
    day = date(2026, 7, 21)
    groups = group_tasks({"a": season_tasks(PEACH, day), "b": season_tasks(done, day)})
    (leaves,) = [each for each in groups if each.task.kind is TaskKind.LEAF_SAMPLE]
    assert [block for block, _ in leaves.blocks] == ["a", "b"]
    assert leaves.open_blocks == ("a",)
    assert leaves.key == "leaf-sample.peach.leaf.mid-summer.2026-07-15.2026-08-31"
    keys = [each.key for each in groups]
    assert len(set(keys)) == len(keys)
