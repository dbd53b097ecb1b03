"""The log book as a table."""

from __future__ import annotations

from datetime import UTC, datetime

from service.delivery.log_words import LogLine
from service.operations.exports.log_table import log_table
from service.records.farms import FarmDefinition
from service.translations import wording

FARM = FarmDefinition(farm_id="hill", name="Hill (invented)", zone="America/New_York")


def test_a_line_has_its_time_on_the_farms_clock_and_all_its_sentences() -> None:
    at = datetime(2026, 7, 14, 12, 0, tzinfo=UTC)
    line = LogLine(at, "Reported runs", "North", ("One.", "Two."), "", "Ana")
    table = log_table([line], FARM, wording("en", "us"), span=(None, None))
    assert table.rows == [
        [
            datetime(2026, 7, 14, 8, 0),  # noqa: DTZ001 - on the farm's clock
            "Reported runs", "North", "One. Two.", None, "Ana",
        ]
    ]  # fmt: skip
    assert "Days" not in dict(table.notes)
