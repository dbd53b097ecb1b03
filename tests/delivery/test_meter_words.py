"""What the meter counted, in words: booked, less what leaks, or questioned."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from service.delivery.evening_words import evening_words
from service.delivery.meter_words import metered_texts
from service.records.feedback import MeteredDay
from service.translations import wording
from tests.letters import block_line, evening

METERED = MeteredDay(date(2026, 7, 14), 11_480.0, 0.0, 3.8, 0.0)


@pytest.mark.parametrize(
    ("changes", "texts"),
    [
        ({}, ["Metered on Tue, 14 Jul: 11,480 L. The day is booked as 3.8 mm."]),
        (
            {"leakage_fraction": 0.05},
            ["Metered on Tue, 14 Jul: 11,480 L, of which 5% leaks. The day is booked as 3.8 mm."],
        ),
        (
            {"booked_l": 0.0, "questioned_l": 90_000.0},
            [
                "The meter's 90,000 L on Tue, 14 Jul are questioned, so that the minutes are"
                " booked: correct the run, or confirm the volume."
            ],
        ),
    ],
)
def test_a_metered_day_in_words(changes: dict[str, Any], texts: list[str]) -> None:
    assert list(metered_texts(replace(METERED, **changes), wording("en", "si"))) == texts


def test_the_evening_mail_has_them_among_a_blocks_notes() -> None:
    words = wording("en", "si")
    letter = evening(block_line("North", metered=METERED), block_line("South"))
    north, south = evening_words(letter, words).blocks
    assert metered_texts(METERED, words)[0] in north.notes
    assert not any("Metered" in note for note in south.notes)
