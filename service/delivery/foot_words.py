"""The foot of a day's plan: what always holds, which plan it is, and what it rests on."""

from __future__ import annotations

from datetime import date

from service.delivery.caution_words import CAUTIONS, INJECTION_CAUTION
from service.delivery.plain_text import clean
from service.records.letters import EveningLetter, SiteLine
from service.translations import Wording


def caution_words(letter: EveningLetter, words: Wording) -> tuple[str, ...]:
    """What always holds, and what holds where something is injected."""
    is_fed = any(block.injection is not None for block in letter.blocks)
    texts = (INJECTION_CAUTION, *CAUTIONS) if is_fed else CAUTIONS
    return tuple(words.gettext(text) for text in texts)


def source_words(letter: EveningLetter) -> tuple[str, ...]:
    """Whom the weather services ask to be named."""
    return tuple(f"{each.text} ({each.url}, {each.licence})" for each in letter.attributions)


def issue_words(letter: EveningLetter, words: Wording) -> str:
    """Which plan it is, when it was made, and by which clock."""
    return words.gettext(
        "Plan {version}, made {moment}. Clock of the day planned: {clock}.",
        version=letter.plan_version,
        moment=words.moment(letter.issued_at, letter.zone),
        clock=words.clock_of_day(letter.day, letter.zone),
    )


def weather_words(letter: EveningLetter, words: Wording) -> tuple[str, ...]:
    """How old the weather behind the plans is, once for sites that share it."""
    return tuple(dict.fromkeys(_weather(site, letter, words) for site in letter.sites))


def _weather(site: SiteLine, letter: EveningLetter, words: Wording) -> str:
    observed = (
        _measured(site, site.observed_until, words)
        if site.observed_until
        else words.gettext("Nothing measured yet")
    )
    if site.issued_at is None or site.source is None:
        return words.gettext("{observed}; no forecast for the day of the plan.", observed=observed)
    age_h = (letter.issued_at - site.issued_at).total_seconds() / 3600.0
    return words.gettext(
        "{observed}; forecast of {moment} ({source}), {hours} h old when the plan was made.",
        observed=observed,
        moment=words.moment(site.issued_at, letter.zone),
        source=clean(site.source),
        hours=words.number(max(0.0, age_h)),
    )


def _measured(site: SiteLine, until: date, words: Wording) -> str:
    """How far the weather was measured, and the rain where it reaches another day."""
    if site.rain_until is None or site.rain_until == until:
        return words.gettext("Measured up to {day}", day=words.short_day(until))
    return words.gettext(
        "Measured up to {day}, rain up to {rain_day}",
        day=words.short_day(until),
        rain_day=words.short_day(site.rain_until),
    )
