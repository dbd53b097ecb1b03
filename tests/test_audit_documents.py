"""What a change keeps of two states of a thing: what differs, within bounds, without secrets."""

from __future__ import annotations

import orjson

from service.records.audit import LARGEST_DOCUMENT, changed_parts


def test_only_what_differs_is_kept_one_level_deep() -> None:
    before = {"name": "North", "area_m2": 10.0, "origins": {"a": "given", "b": "table"}}
    after = {"name": "North", "area_m2": 12.0, "origins": {"a": "given", "b": "measured"}}
    assert changed_parts(before, after) == (
        {"area_m2": 10.0, "origins": {"b": "table"}},
        {"area_m2": 12.0, "origins": {"b": "measured"}},
    )
    assert changed_parts(before, dict(before)) is None
    assert changed_parts(None, None) is None


def test_thousands_of_values_are_counted_and_not_kept() -> None:
    runs = {f"2026-07-{number:05d}": {"duration_min": 40.0} for number in range(10_000)}
    parts = changed_parts({}, runs)
    assert parts is not None and parts[1] is not None
    assert len(orjson.dumps(parts[1]).decode()) < 2 * LARGEST_DOCUMENT
    left_out = 10_000 - (len(parts[1]) - 1)
    assert parts[1]["…"] == f"({left_out} more)"


def test_a_large_value_gives_its_size_and_a_long_text_its_beginning() -> None:
    parts = changed_parts(None, {"curve": list(range(1000)), "note": "n" * 500, "sha256": "s"})
    assert parts is not None and parts[1] is not None
    assert set(parts[1]) == {"curve", "note"}
    assert parts[1]["curve"] == "(3891 characters)"
    assert parts[1]["note"] == "n" * 200 + "…"
