"""How far a forecast may be off, and what came of it, in a reader's language: mails and pages.

Growers read "forecasts" for the members of an ensemble: each of them is one.
"""

from __future__ import annotations

from datetime import date, timedelta

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.week_spread import SHORT_DAYS
from service.delivery.sky_words import LEAST_RAIN_MM, sky_of
from service.records.counties import CountyWeek
from service.records.letters import BlockLine, ExpectedDay, HindsightLine, SiteLine
from service.translations import Wording
from service.translations.catalogue import marked

NO_SPREAD = marked("How far the forecast may be off is not known: it has no spread.")
SURE = 0.05
"""[CHOICE] Some dozens of forecasts do not tell smaller chances apart."""
WORTH_CHANCE = 0.1
"""[CHOICE] Chance of running short from which a block that rests is worth a word."""
WORTH_BAND_MM = 2.0
"""[CHOICE] Forecasts of rain that are closer together are not worth a word."""
LEAST_MIN = 1.0
LEAST_SHOWN_MM = 0.13
"""[mm] Less is shown as nought in inches."""


def need_band_words(county: CountyWeek, words: Wording) -> str:
    """The need of a week by the forecasts of its coming days; empty where they are not known."""
    if county.net_need_band_mm is None:
        return ""
    low_mm, _, high_mm = county.net_need_band_mm
    low, high = words.depth(low_mm), words.depth(high_mm)
    if low == high:
        return words.gettext("All forecasts come to {depth} there.", depth=low)
    return words.gettext(
        "Eight of ten forecasts come to {low} to {high} there.", low=low, high=high
    )


def rain_band_words(site: SiteLine, words: Wording) -> str:
    """Rain of the day by the forecasts of a site; empty where they are not known."""
    if site.rain_band_mm is None:
        return ""
    low_mm, _, high_mm = site.rain_band_mm
    facts = {"low": words.depth(low_mm), "high": words.depth(high_mm)}
    if high_mm < LEAST_RAIN_MM:
        return words.gettext(
            "Nine forecasts of ten bring less than {high} of rain.", high=words.depth(LEAST_RAIN_MM)
        )
    counts = site.rain_counts_fraction
    if low_mm < LEAST_RAIN_MM:
        text = words.gettext("Nine forecasts of ten bring at most {high} of rain.", **facts)
    else:
        text = words.gettext("Eight forecasts of ten bring {low} to {high} of rain.", **facts)
    if counts is None:
        return text
    enough = words.gettext(
        "Chance of rain that counts for the roots: {chance}.", chance=chance_text(counts, words)
    )
    return f"{text} {enough}"


def is_worth_saying(site: SiteLine) -> bool:
    """Whether the forecasts of the day's rain are so far apart that it may change what is done."""
    band = site.rain_band_mm
    return band is not None and band[2] - band[0] >= WORTH_BAND_MM


def site_sky(site: SiteLine, words: Wording) -> str:
    """The weather of a site, and how far forecasts of its rain are apart where that matters."""
    text = sky_of(site, words)
    return f"{text} {rain_band_words(site, words)}".strip() if is_worth_saying(site) else text


def chance_text(fraction: float, words: Wording) -> str:
    """A chance, not finer than some dozens of forecasts tell."""
    if fraction < SURE:
        return words.gettext("less than {chance}", chance=words.percent(SURE))
    if fraction > 1.0 - SURE:
        return words.gettext("more than {chance}", chance=words.percent(1.0 - SURE))
    return words.percent(fraction)


def short_chance_words(line: BlockLine, day: date, words: Wording) -> str:
    """The chances of running short without water; empty where they are not known."""
    first = line.numbers.get("short_tomorrow_fraction")
    last = line.numbers.get("short_horizon_fraction")
    if first is None or last is None or line.is_dormant or line.status == "no-weather":
        return ""
    return words.gettext(
        "Chance that it runs short without water: {first} on {day}, {last} by {last_day}.",
        first=chance_text(first, words),
        day=words.weekday(day),
        last=chance_text(last, words),
        last_day=words.weekday(day + timedelta(days=SHORT_DAYS - 1)),
    )


def risk_words(line: BlockLine, day: date, words: Wording) -> tuple[str, ...]:
    """One sentence where a block rests although it may run short that day; else nothing."""
    chance = line.numbers.get("short_tomorrow_fraction")
    if line.pulses or line.is_dormant or line.pause is not None or line.status == "no-weather":
        return ()
    if chance is None or chance < WORTH_CHANCE:
        return ()
    return (
        words.gettext(
            "Without water it runs short on {day} with a chance of {chance}.",
            day=words.weekday(day),
            chance=chance_text(chance, words),
        ),
    )


def band_words(each: ExpectedDay, words: Wording) -> str:
    """Minutes of a day eight times of ten; "?" where they are not known."""
    if each.band_min is None:
        return "?"
    low, _, high = (words.number(value) for value in each.band_min)
    return low if low == high else words.gettext("{low} to {high}", low=low, high=high)


def hindsight_words(found: HindsightLine | None, today: date, words: Wording) -> str:
    """What the rain of a day that is over would have changed; empty where it is not known."""
    if found is None:
        return ""
    day = (
        words.gettext("Yesterday")
        if found.day == today - ONE_DAY
        else words.gettext("On {day}", day=words.short_day(found.day))
    )
    facts = {"day": day, "rain": words.depth(found.rain_mm)}
    is_dry = found.rain_mm < LEAST_SHOWN_MM
    lacking = words.minutes(found.lacking_min)
    if found.not_needed_min >= LEAST_MIN:
        return words.gettext(
            "{day}, with the {rain} of rain that fell, {minutes} were not needed.",
            minutes=words.minutes(found.not_needed_min),
            **facts,
        )
    if found.lacking_min >= LEAST_MIN and is_dry:
        return words.gettext(
            "{day}, without rain, {minutes} more would have been right.", day=day, minutes=lacking
        )
    if found.lacking_min >= LEAST_MIN:
        return words.gettext(
            "{day}, with the {rain} of rain that fell, {minutes} more would have been right.",
            minutes=lacking,
            **facts,
        )
    if is_dry:
        return ""  # none came, and none was counted on
    return words.gettext("{day}, with the {rain} of rain that fell, the plan was right.", **facts)


def news_of_hindsight(line: BlockLine, today: date, words: Wording) -> tuple[str, ...]:
    """The same beside a plan, where it is news; else nothing."""
    if line.hindsight is None or not line.hindsight.is_news:
        return ()
    return (hindsight_words(line.hindsight, today, words),)
