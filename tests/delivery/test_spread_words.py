"""How far a forecast may be off, in words: what is said, and what is left unsaid."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from service.delivery.evening_words import evening_words
from service.delivery.spread_words import (
    band_words,
    chance_text,
    hindsight_words,
    is_worth_saying,
    rain_band_words,
    risk_words,
    short_chance_words,
)
from service.records.letters import ExpectedDay, HindsightLine, SiteLine
from service.translations import wording
from tests.letters import DAY, block_line, evening, pulse

US, SI, ES = wording("en", "us"), wording("en", "si"), wording("es", "si")


def site(band: tuple[float, float, float] | None, counts: float | None = 0.4) -> SiteLine:
    return replace(evening().sites[0], rain_band_mm=band, rain_counts_fraction=counts)


def over(**changes: Any) -> HindsightLine:
    facts: dict[str, Any] = {
        "day": DAY - timedelta(days=2), "rain_mm": 6.35, "planned_min": 40, "needed_min": 28.0,
        "not_needed_min": 12.0, "lacking_min": 0.0, "is_news": True,
    }  # fmt: skip
    return HindsightLine(**{**facts, **changes})


def test_rain_is_said_as_what_forecasts_of_ten_bring() -> None:
    assert rain_band_words(site(None), US) == ""
    assert "Nine forecasts of ten bring less than" in rain_band_words(site((0, 0, 0.1)), SI)
    text = rain_band_words(site((0.0, 1.0, 9.0)), SI).replace("\xa0", " ")
    assert text.startswith("Nine forecasts of ten bring at most 9.0 mm of rain.")
    assert "Chance of rain that counts for the roots: 40%." in text.replace(" %", "%")
    both = rain_band_words(site((2.0, 4.0, 9.0), None), SI).replace("\xa0", " ")
    assert both == "Eight forecasts of ten bring 2.0 mm to 9.0 mm of rain."
    assert "Ocho de cada diez" in rain_band_words(site((2.0, 4.0, 9.0)), ES)


def test_only_forecasts_that_are_far_apart_are_worth_a_word() -> None:
    assert not is_worth_saying(site(None))
    assert not is_worth_saying(site((0.0, 0.5, 1.5)))
    assert is_worth_saying(site((0.0, 0.5, 6.0)))


@pytest.mark.parametrize(("chance", "said"), [(0.0, "less"), (1.0, "more"), (0.22, "22")])
def test_a_chance_is_not_finer_than_some_dozens_of_forecasts_tell(chance: float, said: str) -> None:
    assert chance_text(chance, US).startswith(said)


def test_a_block_that_rests_although_it_may_run_short_gets_one_sentence() -> None:
    risky = {"short_tomorrow_fraction": 0.22, "short_horizon_fraction": 0.91}
    resting = block_line("West", numbers=risky)
    assert len(risk_words(resting, DAY, US)) == 1
    assert "22" in risk_words(resting, DAY, US)[0]
    watered = block_line("North", pulse("04:00", 60), numbers=risky)
    assert risk_words(watered, DAY, US) == ()
    calm = block_line("West", numbers={**risky, "short_tomorrow_fraction": 0.03})
    assert risk_words(calm, DAY, US) == ()
    unknown = block_line("West", numbers={})
    assert risk_words(unknown, DAY, US) == ()
    assert short_chance_words(unknown, DAY, US) == ""
    assert "91" in short_chance_words(resting, DAY, US)


def test_a_day_whose_minutes_are_not_known_is_a_question_mark() -> None:
    assert band_words(ExpectedDay(DAY, 30.0, None), US) == "?"
    assert band_words(ExpectedDay(DAY, 30.0, (0.0, 30.0, 45.0)), US) == "0 to 45"
    assert band_words(ExpectedDay(DAY, 30.0, (30.0, 30.0, 30.0)), US) == "30"


def test_rain_of_a_day_that_is_over_is_told_by_the_minutes_it_made_needless() -> None:
    today = DAY - timedelta(days=1)
    text = hindsight_words(over(), today, SI).replace("\xa0", " ")
    assert text == "Yesterday, with the 6.4 mm of rain that fell, 12 min were not needed."
    dry = over(rain_mm=0.0, not_needed_min=0.0, lacking_min=9.0)
    assert "without rain, 9" in hindsight_words(dry, today, SI).replace("\xa0", " ")
    assert hindsight_words(over(rain_mm=0.0, not_needed_min=0.0), today, SI) == ""
    assert "the plan was right" in hindsight_words(over(not_needed_min=0.2), today, SI)
    assert hindsight_words(None, today, SI) == ""
    earlier = over(day=DAY - timedelta(days=4))
    assert hindsight_words(earlier, today, SI).startswith("On ")


def test_the_mail_says_it_once_a_block_and_only_where_it_is_news() -> None:
    risky = {"short_tomorrow_fraction": 0.22, "short_horizon_fraction": 0.91}
    letter = evening(
        block_line("North", hindsight=over()),
        block_line("South", hindsight=over(is_news=False)),
        block_line("West", numbers=risky, hindsight=over()),
        sites=(site((0.0, 1.0, 9.0)),),
    )
    found = {block.name: " ".join(block.notes) for block in evening_words(letter, US).blocks}
    assert "were not needed" in found["North"]
    assert "needed" not in found["South"]
    assert "runs short" in found["West"] and "were not needed" not in found["West"]
