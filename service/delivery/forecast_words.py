"""How good the forecast of a place was, in plain sentences: for its page and the command."""

from __future__ import annotations

import math

from service.agronomy.forecast_scores import CHANCE_EDGES, FEWEST_PAIRS
from service.records.forecast_quality import (
    ArchiveFlag,
    LeadScores,
    SiteQuality,
    SourceQuality,
    Truth,
)
from service.translations import Wording
from service.translations.catalogue import marked

TRUTH_TEXT = {
    Truth.MEASURED: marked("Held against what a gauge, a station or a file measured here."),
    Truth.OTHER_MODEL: marked(
        "Held against another model, since nothing is measured here. A gauge would tell more."
    ),
    Truth.OWN_MODEL: marked(
        "Held against the same model's own look back, which flatters the forecast. Only a gauge"
        " can tell."
    ),
    Truth.NONE: marked("Nothing has been observed here yet."),
}
_LIKELY_CLASS = 3
"""From this class of chances on (0.6), rain is what a reader would expect."""


def finding(quality: SourceQuality, words: Wording) -> str:
    """The one thing to know."""
    if ArchiveFlag.UNIT_CHANGED in quality.flags:
        return words.gettext("Nothing can be said: the unit of this forecast seems to change.")
    if ArchiveFlag.TOO_FEW in quality.flags:
        most = max((each.rain.pair_count for each in quality.leads), default=0)
        return words.ngettext(
            "Too early to say: {count} day can be compared so far, {fewest} are needed.",
            "Too early to say: {count} days can be compared so far, {fewest} are needed.",
            most,
            fewest=words.number(FEWEST_PAIRS),
        )
    useful = quality.last_useful_rain_lead_days
    if useful == 0:
        return words.gettext("For rain this forecast is no better than knowing the season.")
    return words.ngettext(
        "Its rain forecast is useful up to {count} day ahead.",
        "Its rain forecast is useful up to {count} days ahead.",
        useful,
    )


def sentences(quality: SourceQuality, words: Wording) -> list[str]:
    """What the forecast of the next day was like; empty where nothing is scored."""
    if not quality.leads or quality.leads[0].lead_days != 1:
        return []
    return [text for text in _next_day(quality.leads[0], words) if text] + _water_use(
        quality, words
    )


def _next_day(lead: LeadScores, words: Wording) -> list[str]:
    chance, rain = lead.chance, lead.rain
    said = []
    if math.isfinite(chance.right_fraction):
        said.append(
            words.gettext(
                "Rain or no rain the next day: right on {right} of {all} days.",
                right=words.number(round(chance.right_fraction * chance.pair_count)),
                all=words.number(chance.pair_count),
            )
        )
        said.append(_when_likely(lead, words))
    if math.isfinite(rain.mae_mm):
        said.append(
            words.gettext("Its amount was off by {depth} a day.", depth=words.depth(rain.mae_mm))
            + " "
            + _tendency(rain.bias_mm, rain.mae_mm, words)
        )
    if math.isfinite(rain.half_coverage_fraction):
        said.append(
            words.gettext(
                "Its spread: {half} of the days fell in the middle half of its forecasts (half is"
                " right), {most} in nine tenths of them.",
                half=words.percent(rain.half_coverage_fraction),
                most=words.percent(rain.most_coverage_fraction),
            )
        )
    return said


def _when_likely(lead: LeadScores, words: Wording) -> str:
    """How often it rained when rain was likely; empty if that never was."""
    counts = lead.chance.class_count[_LIKELY_CLASS:]
    if not counts.sum():
        return ""
    shares = lead.chance.class_observed_fraction[_LIKELY_CLASS:]
    rained = sum(
        round(count * share)
        for count, share in zip(counts.tolist(), shares.tolist(), strict=True)
        if count
    )
    return words.gettext(
        "When it gave rain a chance of {chance} or more, it rained on {rained} of {all} days.",
        chance=words.percent(float(CHANCE_EDGES[_LIKELY_CLASS])),
        rained=words.number(rained),
        all=words.number(int(counts.sum())),
    )


def _tendency(bias_mm: float, mae_mm: float, words: Wording) -> str:
    if abs(bias_mm) < 0.25 * mae_mm:
        return words.gettext("It was as often too high as too low.")
    depth = words.depth(abs(bias_mm))
    if bias_mm > 0.0:
        return words.gettext("On average it was {depth} too high.", depth=depth)
    return words.gettext("On average it was {depth} too low.", depth=depth)


def _water_use(quality: SourceQuality, words: Wording) -> list[str]:
    et0 = quality.leads[0].et0
    if not math.isfinite(et0.mae_mm):
        return []
    return [
        words.gettext(
            "Reference ET of the next day was off by {depth}.", depth=words.depth(et0.mae_mm)
        )
        + " "
        + _tendency(et0.bias_mm, et0.mae_mm, words)
    ]


def flag_texts(site: SiteQuality, quality: SourceQuality, words: Wording) -> list[str]:
    """What a reader must know before the scores."""
    day = "?"
    if quality.unit_changed_on is not None:
        day = words.short_day(quality.unit_changed_on)
    moved = "?" if site.moved_on is None else words.short_day(site.moved_on)
    texts = {
        ArchiveFlag.UNIT_CHANGED: words.gettext(
            "From about {day} on its values look as if in another unit. None of them is scored, and"
            " nothing is corrected.",
            day=day,
        ),
        ArchiveFlag.SITE_MOVED: words.gettext(
            "The place was moved on {day}: only forecasts since then count.", day=moved
        ),
        ArchiveFlag.SOURCE_SWITCHED: words.gettext(
            "Another source was used before; its days are not mixed in."
        ),
        ArchiveFlag.STOPPED: words.gettext(
            "This source has issued nothing since {day}.", day=words.short_day(quality.last_day)
        ),
        ArchiveFlag.GAPS: _gaps(quality, words),
    }
    return [texts[flag] for flag in quality.flags if flag in texts]


def _gaps(quality: SourceQuality, words: Wording) -> str:
    day_count = (quality.last_day - quality.first_day).days + 1
    return words.gettext(
        "Of {all} days, {unissued} had no forecast and {unobserved} no observation.",
        all=words.number(day_count),
        unissued=words.number(quality.missing_forecast_day_count),
        unobserved=words.number(quality.missing_observed_day_count),
    )


def lead_name(lead_days: int, words: Wording) -> str:
    """How far ahead, in words."""
    if lead_days == 1:
        return words.gettext("Next day")
    return words.ngettext("{count} day ahead", "{count} days ahead", lead_days)
