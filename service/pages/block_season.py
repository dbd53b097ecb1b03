"""The season of a block on its page: the days that are drawn and listed, and their charts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from service.agronomy.civil_day import ONE_DAY
from service.drawing.season import SeasonDays, SeasonWords, curve, season_chart
from service.operations.reading.read_balance import SAME_DEPTH_MM
from service.operations.reading.read_plans import PlanView
from service.records.farms import BlockDefinition
from service.records.ledger import LedgerRows
from service.translations import Wording
from service.unit_sizes import MM_PER_INCH

NARROW_DAYS = 35
"""Measured days that a phone shows."""


@dataclass(frozen=True, slots=True)
class SeasonDay:
    """One day of the season's table; depths in mm, NaN where not known."""

    day: date
    is_forecast: bool
    depletion_mm: float
    planned_depletion_mm: float
    """Depletion at its end if nothing had run that day."""
    raw_mm: float
    trigger_mm: float
    rain_mm: float
    irrigation_gross_mm: float
    crop_coefficient: float
    fullest_mm: float = math.nan
    """Depletion at its end that one course of the weather in ten does not pass."""
    driest_mm: float = math.nan
    """The same of nine in ten."""


def season_days(
    rows: LedgerRows, view: PlanView | None, block: BlockDefinition, *, first_day: date
) -> list[SeasonDay]:
    """The days of the ledger from one on, and those that a plan looks ahead to, in order."""
    numbers = {
        name: rows.numbers[name].tolist()
        for name in (
            "depletion_end_mm", "early_net_mm", "day_net_mm", "irrigation_drainage_mm", "raw_mm",
            "rain_mm", "irrigation_gross_mm", "crop_coefficient",
        )
    }  # fmt: skip
    days = [
        SeasonDay(
            day=day,
            is_forecast=False,
            depletion_mm=numbers["depletion_end_mm"][row],
            planned_depletion_mm=numbers["depletion_end_mm"][row]
            + max(
                numbers["early_net_mm"][row]
                + numbers["day_net_mm"][row]
                - numbers["irrigation_drainage_mm"][row],
                0.0,
            ),
            raw_mm=numbers["raw_mm"][row],
            trigger_mm=numbers["raw_mm"][row] * block.trigger_fraction,
            rain_mm=numbers["rain_mm"][row],
            irrigation_gross_mm=numbers["irrigation_gross_mm"][row],
            crop_coefficient=numbers["crop_coefficient"][row],
        )
        for row, day in enumerate(rows.days.astype("datetime64[D]").tolist())
        if day >= first_day
    ]
    if view is None or view.plan.status == "no-weather":
        return days
    known, plan, reasoning = {day.day for day in days}, view.plan, view.plan.reasoning
    minutes, band = reasoning.outlook_expected_min, reasoning.outlook_band_depletion_mm
    raw = _known(reasoning.raw_mm)
    rate = _known(reasoning.application_rate_mm_per_h)
    for place, level in enumerate(reasoning.outlook_depletion_mm):
        day = plan.day + place * ONE_DAY
        if day in known:
            continue
        ran = minutes[place] if place < len(minutes) else None
        days.append(
            SeasonDay(
                day=day,
                is_forecast=True,
                depletion_mm=_known(level),
                planned_depletion_mm=math.nan,
                raw_mm=raw,
                trigger_mm=raw * block.trigger_fraction,
                rain_mm=_known(plan.weather.value("rain_mm", day)),
                irrigation_gross_mm=_known(ran) / 60.0 * rate,
                crop_coefficient=_known(reasoning.crop_coefficient) if place == 0 else math.nan,
                fullest_mm=_known(band[0][place]) if band else math.nan,
                driest_mm=_known(band[-1][place]) if band else math.nan,
            )
        )
    return sorted(days, key=lambda each: each.day)


def _known(value: object) -> float:
    return float(value) if isinstance(value, int | float) else math.nan


@dataclass(frozen=True, slots=True)
class SeasonView:
    """What the page says and draws of a season."""

    heading: str
    wide: Markup
    narrow: Markup
    has_band: bool


def season_view(days: list[SeasonDay], block: BlockDefinition, words: Wording) -> SeasonView | None:
    """Depletion, limits, rain and irrigation over the season; None without a day that is known."""
    known = [day for day in days if math.isfinite(day.depletion_mm)]
    if not known:
        return None
    measured = [day for day in known if not day.is_forecast]
    heading = _heading(measured, words)
    title = words.gettext("The season of {block}", block=block.name)
    description = _description(known, measured, words)
    drawn, said = _season_days(days, words), _season_words(known, measured, words)
    first = max(drawn.first_forecast - NARROW_DAYS, 0)
    return SeasonView(
        heading=heading,
        has_band=any(math.isfinite(day.driest_mm) for day in days),
        wide=season_chart(title, description, drawn, said, is_wide=True, name="season"),
        narrow=season_chart(
            title, description, drawn.since(first), said, is_wide=False, name="season-narrow"
        ),
    )


def _heading(measured: list[SeasonDay], words: Wording) -> str:
    """The finding, as far as the books go."""
    if not measured:
        return words.gettext("The season")
    since = words.yearly_day(measured[0].day.month, measured[0].day.day)
    dry = sum(day.depletion_mm > day.raw_mm + SAME_DEPTH_MM for day in measured)
    if not dry:
        return words.gettext("The season: no dry day since {day}", day=since)
    return words.ngettext(
        "The season: {count} dry day since {day}",
        "The season: {count} dry days since {day}",
        dry,
        day=since,
    )


def _description(known: list[SeasonDay], measured: list[SeasonDay], words: Wording) -> str:
    parts = [words.gettext("Water missing from the root zone, day by day.")]
    if measured:
        depths = [day.depletion_mm for day in measured]
        parts.append(
            words.gettext(
                "It has kept between {least} and {most} since {day};"
                " on {last} it was {now}, and plants suffer from {limit}.",
                least=words.depth(min(depths)),
                most=words.depth(max(depths)),
                day=words.short_day(measured[0].day),
                last=words.short_day(measured[-1].day),
                now=words.depth(depths[-1]),
                limit=words.depth(measured[-1].raw_mm),
            )
        )
    if known[-1].is_forecast:
        parts.append(
            words.gettext(
                "Forecast for {day}: {depth}.",
                day=words.short_day(known[-1].day),
                depth=words.depth(known[-1].depletion_mm),
            )
        )
    if math.isfinite(known[-1].driest_mm):
        parts.append(
            words.gettext(
                "Eight times of ten between {low} and {high}.",
                low=words.depth(known[-1].fullest_mm),
                high=words.depth(known[-1].driest_mm),
            )
        )
    return " ".join(parts)


def _season_days(days: list[SeasonDay], words: Wording) -> SeasonDays:
    scale = 1.0 / MM_PER_INCH if words.unit_system == "us" else 1.0

    def column(name: str) -> list[float]:
        return [getattr(day, name) * scale for day in days]

    first_forecast = next((place for place, day in enumerate(days) if day.is_forecast), len(days))
    places = [
        *([first_forecast] if first_forecast < len(days) else []),
        *(place for place, day in enumerate(days) if day.day.day == 1),
        0,
    ]
    return SeasonDays(
        missing=column("depletion_mm"),
        unwatered=column("planned_depletion_mm"),
        trigger=column("trigger_mm"),
        suffers=column("raw_mm"),
        rain=column("rain_mm"),
        irrigation=column("irrigation_gross_mm"),
        fullest=column("fullest_mm"),
        driest=column("driest_mm"),
        first_forecast=first_forecast,
        named=[
            (place, words.yearly_day(days[place].day.month, days[place].day.day))
            for place in places
        ],
    )


def _season_words(known: list[SeasonDay], measured: list[SeasonDay], words: Wording) -> SeasonWords:
    unit = words.depth_unit
    last = known[-1]
    return SeasonWords(
        rain=words.gettext("Rain, {unit}", unit=unit),
        missing=words.gettext("Missing from the root zone, {unit}", unit=unit),
        irrigation=words.gettext("Irrigation, {unit}", unit=unit),
        full=words.gettext("full"),
        ahead=words.gettext("forecast"),
        now=words.gettext("{depth} now", depth=words.depth(measured[-1].depletion_mm))
        if measured
        else "",
        last=words.gettext("missing {depth}", depth=words.depth(last.depletion_mm)),
        trigger=words.gettext("water from {depth}", depth=words.depth(last.trigger_mm)),
        suffers=words.gettext("suffers from {depth}", depth=words.depth(last.raw_mm)),
    )


def kc_chart(days: list[SeasonDay], block: BlockDefinition, words: Wording) -> Markup | None:
    """The crop coefficient over the season; None where it is known for less than two days."""
    shown = [day for day in days if math.isfinite(day.crop_coefficient)]
    if len(shown) < 2:
        return None
    return curve(
        words.gettext("Crop coefficient of {block}", block=block.name),
        words.gettext(
            "{value} on {day}.",
            value=words.number(shown[-1].crop_coefficient, 2),
            day=words.short_day(shown[-1].day),
        ),
        [words.short_day(day.day) for day in shown],
        [day.crop_coefficient for day in shown],
        name="kc",
    )
