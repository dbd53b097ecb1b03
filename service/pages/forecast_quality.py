"""The page that says how good the forecast was at a farm's places."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup
from starlette.responses import Response

from service.agronomy.forecast_scores import RAIN_EVENT_MM
from service.delivery.forecast_words import (
    TRUTH_TEXT,
    finding,
    flag_texts,
    lead_name,
    sentences,
)
from service.drawing.lead_bars import LeadBar, lead_bars
from service.operations.access.manage_keys import Right
from service.operations.reading.read_farms import local_day
from service.operations.weather.read_forecast_quality import read_forecast_quality
from service.pages.plans import farm_of
from service.pages.visit import Visit
from service.records.forecast_quality import LeadScores, SiteQuality, SourceQuality
from service.translations import Wording
from service.unit_sizes import MM_PER_INCH


@dataclass(frozen=True, slots=True)
class SourceView:
    """One source at one place."""

    source: str
    span: str
    is_in_use: bool
    finding: str
    sentences: tuple[str, ...]
    truth: str
    alerts: tuple[str, ...]
    chart: Markup | None
    leads: tuple[tuple[str, ...], ...]
    """The table by lead."""
    classes: tuple[tuple[str, ...], ...]
    """The table of chances: issued, days, how many of them had rain."""


@dataclass(frozen=True, slots=True)
class PlaceView:
    """One place."""

    name: str
    since: str
    sources: tuple[SourceView, ...]


def show_forecast_quality(visit: Visit) -> Response:
    """The page."""
    farm = farm_of(visit)
    visit.need(Right.PLAN_READ, farm.farm_id)
    service, words = visit.service, visit.words
    with service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(farm.farm_id, day=local_day(service.clock.now(), farm.zone))
    used = {block.site_id for block in bundle.blocks}
    places = [site for site in bundle.sites if site.site_id in used] or list(bundle.sites)
    found = read_forecast_quality(
        [site.site_id for site in places],
        farm.farm_id,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    return visit.show(
        "forecast_quality.html",
        farm=farm,
        places=[_place(each, number, words) for number, each in enumerate(found)],
        rain_event=words.depth(RAIN_EVENT_MM),
    )


def _place(site: SiteQuality, number: int, words: Wording) -> PlaceView:
    return PlaceView(
        name=site.site_name or site.site_id,
        since="" if site.first_day is None else words.long_day(site.first_day),
        sources=tuple(
            _source(site, each, f"q{number}-{place}", words)
            for place, each in enumerate(site.sources)
        ),
    )


def _source(site: SiteQuality, quality: SourceQuality, name: str, words: Wording) -> SourceView:
    scored = [each for each in quality.leads if math.isfinite(each.rain.mae_mm)]
    return SourceView(
        source=quality.source,
        span=words.span(quality.first_day, quality.last_day),
        is_in_use=quality.is_in_use,
        finding=finding(quality, words),
        sentences=tuple(sentences(quality, words)),
        truth=words.gettext(TRUTH_TEXT[quality.rain_truth]),
        alerts=tuple(flag_texts(site, quality, words)),
        chart=_chart(scored, name, words) if scored else None,
        leads=tuple(_lead_row(each, words) for each in scored),
        classes=_classes(scored[0], words) if scored and scored[0].lead_days == 1 else (),
    )


def _chart(leads: list[LeadScores], name: str, words: Wording) -> Markup:
    size_mm = MM_PER_INCH if words.unit_system == "us" else 1.0
    bars = [
        LeadBar(
            lead_name(each.lead_days, words),
            each.rain.crps_mm / size_mm,
            each.rain.climatology_crps_mm / size_mm,
            words.depth(each.rain.crps_mm),
        )
        for each in leads
    ]
    said = [
        words.gettext(
            "{lead}: off by {depth}, the season alone by {season}.",
            lead=bar.name,
            depth=bar.shown,
            season=words.depth(each.rain.climatology_crps_mm),
        )
        for bar, each in zip(bars, leads, strict=True)
    ]
    return lead_bars(words.gettext("How far off the rain was"), " ".join(said), bars, name=name)


def _lead_row(each: LeadScores, words: Wording) -> tuple[str, ...]:
    return (
        lead_name(each.lead_days, words),
        words.number(each.rain.pair_count),
        words.bare_depth(each.rain.mae_mm),
        words.bare_depth(each.rain.bias_mm),
        words.percent(each.rain.skill_ratio),
        words.number(each.chance.brier, 3),
        words.percent(each.rain.coverage_fraction),
        _inner_and_outer(each, words),
        words.bare_depth(each.et0.mae_mm),
        words.bare_depth(each.et0.bias_mm),
        words.percent(each.et0.skill_ratio),
    )


def _inner_and_outer(each: LeadScores, words: Wording) -> str:
    """How often the rain was within the half and the nine tenths in the middle of an ensemble."""
    shares = (each.rain.half_coverage_fraction, each.rain.most_coverage_fraction)
    return "–" if any(map(math.isnan, shares)) else " / ".join(map(words.percent, shares))


def _classes(lead: LeadScores, words: Wording) -> tuple[tuple[str, ...], ...]:
    chance = lead.chance
    return tuple(
        (words.percent(issued), words.number(count), words.percent(observed))
        for issued, count, observed in zip(
            chance.class_issued_fraction.tolist(),
            chance.class_count.tolist(),
            chance.class_observed_fraction.tolist(),
            strict=True,
        )
        if count
    )
