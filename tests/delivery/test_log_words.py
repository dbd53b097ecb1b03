"""Entries of the log book in words: plain sentences, the reader's units, few digits."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from service.delivery.log_words import LogLine, Telling, log_line
from service.delivery.value_words import label_of, value_of
from service.records.audit import Actor, ActorKind, AuditEntry, Entrance, Subject
from service.translations import wording

ZONE = "America/New_York"
ANN = Actor(ActorKind.KEY, Entrance.API, "Zq3mT8xA", "Ann")


def told(
    subject: Subject, before: Any, after: Any, *, language: str = "en", units: str = "us"
) -> LogLine:
    entry = AuditEntry(
        entry_key=1,
        at=datetime(2026, 7, 14, 12, tzinfo=UTC),
        farm_id="hill",
        actor=ANN,
        subject=subject,
        subject_id="hill.north",
        before=before,
        after=after,
    )
    return log_line(entry, None, Telling(wording(language, units), ZONE, {"hill.north": "North"}))


def run(duration_min: float | None, volume_l: float | None = None) -> dict[str, float | None]:
    return {"duration_min": duration_min, "volume_l": volume_l}


START = "2026-07-14T09:10:00+00:00"


@pytest.mark.parametrize(
    ("before", "after", "sentence"),
    [
        ({START: None}, {START: run(40.0)}, "Ran 40 min from Tue, Jul 14, 5:10 AM."),
        (
            {START: None}, {START: run(40.0, 3785.411784)},
            "Ran 40 min, 1,000 gal from Tue, Jul 14, 5:10 AM.",
        ),
        ({START: None}, {START: run(0.0)}, "Did not run on Tue, Jul 14, 5:10 AM."),
        (
            {START: {"duration_min": 40.0}}, {START: {"duration_min": 33.333333}},
            "The run of Tue, Jul 14, 5:10 AM was corrected: 33.33 min instead of 40 min.",
        ),
        ({START: run(40.0)}, None, "The run of Tue, Jul 14, 5:10 AM was taken back."),
    ],
)  # fmt: skip
def test_runs_are_told(before: Any, after: Any, sentence: str) -> None:
    assert told(Subject.RUNS, before, after).sentences == (sentence,)


def test_a_sentence_that_ends_with_a_time_has_one_point() -> None:
    (sentence,) = told(Subject.RUNS, {}, {START: run(40.0)}, language="es").sentences
    assert sentence.endswith("a.m.") and ".." not in sentence


def test_a_timer_that_was_set_is_told_by_its_day() -> None:
    after = {"program_id": "0c4f2f9e1d3b4a58", "set_from": "2026-07-15"}
    assert told(Subject.TIMER, None, after).sentences == (
        "The timer was set; its program runs from Wednesday, July 15, 2026 on.",
    )


def test_of_many_runs_the_rest_is_counted() -> None:
    runs = {f"2026-07-{day:02}T09:10:00+00:00": run(40.0) for day in range(1, 10)}
    sentences = told(Subject.RUNS, {}, runs).sentences
    assert len(sentences) == 7 and sentences[-1] == "and 3 more runs"


def test_a_reading_a_pause_and_rain_are_told_in_the_readers_units() -> None:
    reading = {
        "kind": "volumetric", "read_at": START, "volumetric_water": 0.2346, "top_depth_m": 0.2048,
        "bottom_depth_m": 0.4048, "depletion_reading_mm": 12.7, "tension_kpa": None,
    }  # fmt: skip
    assert told(Subject.SOIL, None, reading).sentences == (
        "Sensor at 1 ft on Tue, Jul 14, 5:10 AM: 23.5%, that is 0.50 in missing from the root"
        " zone.",
    )
    period = {"starts_local": "2026-08-01T10:00:00", "ends_local": "2026-08-02T10:00:00",
              "reason": "harvest"}  # fmt: skip
    assert told(Subject.PAUSE, None, {"period": period}, units="si").sentences == (
        "No water from Sat, 1 Aug, 10:00 to Sun, 2 Aug, 10:00: harvest.",
    )
    rain = {"rain_mm": 25.4, "read_at": START}
    assert told(Subject.RAIN, None, rain).sentences == (
        "1.00 in in the rain gauge, read Tue, Jul 14, 5:10 AM.",
    )


def test_a_changed_block_is_told_by_label_unit_and_few_digits() -> None:
    before = {"area_m2": 3035.1423168, "emission_uniformity_pct": 85.0, "origins": {"a": "b"}}
    after = {"area_m2": 6070.2846336, "emission_uniformity_pct": 90.0, "origins": {"a": "c"}}
    assert told(Subject.BLOCK, before, after).sentences == (
        "Block North: changed.",
        "Area: 1.5 ac instead of 0.75 ac.",
        "Emission uniformity: 90% instead of 85%.",
    )


def test_rows_of_numbers_are_said_to_have_changed_and_what_stayed_is_not_told() -> None:
    before = {"normals": {"et0_mm": [1.0] * 12, "u2_m_s": [2.0] * 12}, "elevation_m": None}
    line = told(Subject.SITE, before, {"normals": None, "elevation_m": None})
    assert line.sentences == ("Weather site North: changed.", "Monthly normals: changed.")


def test_in_spanish_no_english_and_no_field_name_is_left() -> None:
    before = {"area_m2": 3035.1423168, "zone": "UTC"}
    line = told(
        Subject.BLOCK, before, {**before, "area_m2": 6070.28, "zone": ZONE},
        language="es", units="si",
    )  # fmt: skip
    words = " ".join(line.sentences)
    assert "ha" in words and "_" not in words.replace("New_York", "")
    assert not {"changed", "instead", "Area"} & set(words.replace(":", "").split())


@pytest.mark.parametrize("subject", list(Subject))
@pytest.mark.parametrize(
    ("before", "after"),
    [
        (None, {}), ({}, None), ({"…": "(3 more)"}, {"…": "(4 more)"}),
        ({"day": "yesterday"}, None), (None, {"period": 3, "rain_mm": 1.0}),
        ({START: "(1800 characters)"}, {START: "(1900 characters)"}),
    ],
)  # fmt: skip
def test_an_entry_that_was_cut_or_is_old_is_told_all_the_same(
    subject: Subject, before: Any, after: Any
) -> None:
    line = told(subject, before, after)
    assert line.about == "North" and line.who == "Ann, key Zq3mT8xA, through the API"


@pytest.mark.parametrize(
    ("name", "value", "us", "si"),
    [
        ("root_depth_m", 0.4572, "1.5 ft", "0.4572 m"),
        ("emitter_flow_l_per_h", 1.892705892, "0.5 gal/h", "1.893 L/h"),
        ("flow_l_per_h", 9084.988, "40 gal/min", "9,085 L/h"),
        ("freeze_hold_c", 0.0, "32 °F", "0 °C"),
        ("trigger_fraction", 0.7, "70%", "70%"),
        ("issue_wall_min", 1140, "7:00 PM", "19:00"),
        ("planting_year", 2019.0, "2019", "2019"),
        ("priority", 5.0, "5", "5"),
        ("is_region", True, "yes", "yes"),
        ("note", None, "–", "–"),
        ("depletion_fraction", 1 / 3, "33.33%", "33.33%"),
    ],
)
def test_a_value_is_written_in_the_unit_of_its_name(
    name: str, value: object, us: str, si: str
) -> None:
    assert value_of(name, value, wording("en", "us"), ZONE) == us
    assert value_of(name, value, wording("en", "si"), ZONE) == si


def test_a_label_is_without_the_unit_of_storage() -> None:
    assert label_of("area_m2", wording("en", "us")) == "Area"
    assert label_of("origins.area_m2", wording("en", "us")) == "Source of Area"
    assert label_of("some_new_field", wording("en", "us")) == "some new field"
