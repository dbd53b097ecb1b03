"""The season of a block on its page: the days that are drawn and listed, and their charts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from service.agronomy.civil_day import ONE_DAY
from service.drawing.season import Line, curve, season_lines
from service.operations.reading.read_plans import PlanView
from service.records.farms import BlockDefinition
from service.records.ledger import LedgerRows
from service.translations import Wording
from service.unit_sizes import MM_PER_INCH


@dataclass(frozen=True, slots=True)
class SeasonDay:
    """One day of the season's table; depths in mm, NaN where not known."""

    day: date
    is_forecast: bool
    depletion_mm: float
    raw_mm: float
    trigger_mm: float
    rain_mm: float
    irrigation_gross_mm: float
    crop_coefficient: float


def season_days(rows: LedgerRows, view: PlanView | None, block: BlockDefinition) -> list[SeasonDay]:
    """The days of the ledger, and those that a plan looks ahead to, in order."""
    numbers = {
        name: rows.numbers[name].tolist()
        for name in (
            "depletion_end_mm", "raw_mm", "rain_mm", "irrigation_gross_mm", "crop_coefficient",
        )
    }  # fmt: skip
    days = [
        SeasonDay(
            day=day,
            is_forecast=False,
            depletion_mm=numbers["depletion_end_mm"][row],
            raw_mm=numbers["raw_mm"][row],
            trigger_mm=numbers["raw_mm"][row] * block.trigger_fraction,
            rain_mm=numbers["rain_mm"][row],
            irrigation_gross_mm=numbers["irrigation_gross_mm"][row],
            crop_coefficient=numbers["crop_coefficient"][row],
        )
        for row, day in enumerate(rows.days.astype("datetime64[D]").tolist())
    ]
    if view is None or view.plan.status == "no-weather":
        return days
    known = {day.day for day in days}
    plan = view.plan
    reasoning = plan.reasoning
    minutes = reasoning.outlook_expected_min
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
                raw_mm=raw,
                trigger_mm=raw * block.trigger_fraction,
                rain_mm=_known(plan.weather.value("rain_mm", day)),
                irrigation_gross_mm=_known(ran) / 60.0 * rate,
                crop_coefficient=_known(reasoning.crop_coefficient) if place == 0 else math.nan,
            )
        )
    return sorted(days, key=lambda each: each.day)


def _known(value: object) -> float:
    return float(value) if isinstance(value, int | float) else math.nan


def season_chart(days: list[SeasonDay], block: BlockDefinition, words: Wording) -> Markup | None:
    """Depletion, limits, rain and irrigation over the season; None without days."""
    if not days:
        return None
    scale = 1.0 / MM_PER_INCH if words.unit_system == "us" else 1.0
    last = [day for day in days if not day.is_forecast][-1:] or days[:1]
    first_forecast = next((place for place, day in enumerate(days) if day.is_forecast), len(days))

    def line(css: str, name: str) -> Line:
        return Line(css, tuple(getattr(day, name) * scale for day in days))

    return season_lines(
        words.gettext("Soil water depletion of {block}", block=block.name),
        words.gettext(
            "Depletion on {day}: {depth}. The crop is stressed beyond {limit}.",
            day=words.short_day(last[0].day),
            depth=words.depth(last[0].depletion_mm),
            limit=words.depth(last[0].raw_mm),
        ),
        [words.short_day(day.day) for day in days],
        [
            line("stress", "raw_mm"),
            line("trigger", "trigger_mm"),
            line("level", "depletion_mm"),
        ],
        rain=[day.rain_mm * scale for day in days],
        irrigation=[day.irrigation_gross_mm * scale for day in days],
        first_forecast=first_forecast,
        axis_label=words.gettext("depletion, {unit}", unit=words.depth_unit),
        bars_label=words.gettext("rain and irrigation, {unit}", unit=words.depth_unit),
        forecast_label=words.gettext("forecast"),
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
