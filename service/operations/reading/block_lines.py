"""One block's plan as a line: what a letter, a page and a comparison of versions show of it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta

from service.agronomy.civil_day import wall_time
from service.agronomy.records import NoWaterPeriod
from service.operations.reading.planned_injections import planned_injection
from service.operations.reading.read_plans import PlanView
from service.records.letters import (
    BlockLine,
    ExpectedDay,
    InjectionLine,
    PulseLine,
)
from service.records.plan_reasoning import PlanReasoning
from service.records.weather_basis import Band, whole_band


def line_of_plan(view: PlanView) -> BlockLine:
    """The plan of a block as a line of a letter, without what else is on file of its day."""
    plan, reasoning = view.plan, view.plan.reasoning
    expected = reasoning.outlook_expected_min
    minutes = [float(plan.planned_min), *expected[1:]] if expected else []
    is_known = plan.status != "no-weather"
    return BlockLine(
        block_id=plan.block_id,
        name=view.block.name,
        status=plan.status,
        version=plan.version,
        site_id=view.block.site_id,
        pulses=tuple(_pulse_line(view, start, length) for start, length in plan.pulses),
        planned_min=plan.planned_min,
        volume_l=(reasoning.volume_l or 0.0) if is_known else 0.0,
        numbers=reasoning.quantities,
        flags=reasoning.flags,
        cause=reasoning.cause,
        deferred_mm=reasoning.deferred_mm or 0.0,
        shortfall_mm=reasoning.shortfall_mm or 0.0,
        rain_credit_mm=reasoning.rain_credit_mm or 0.0,
        outlook=tuple(
            ExpectedDay(plan.day + timedelta(days=place), value, band_of(reasoning, place))
            for place, value in enumerate(minutes if is_known else [])
        ),
        dry_day=reasoning.unwatered_until_day if is_known else None,
        injection=_injection_line(view),
        taken_full_day=reasoning.taken_full_day,
    )


def band_of(reasoning: PlanReasoning, place: int) -> Band | None:
    """The band of minutes of a day of the outlook; None where it is not known."""
    rows = reasoning.outlook_band_min
    if len(rows) != 3 or place >= min(map(len, rows)):
        return None
    return whole_band(*(row[place] for row in rows))


def _injection_line(view: PlanView) -> InjectionLine | None:
    planned = planned_injection(view.plan)
    if planned is None:
        return None
    return InjectionLine(
        products=planned.products,
        spans=planned.spans if planned.is_possible else (),
        injector_l_per_h=planned.injector_l_per_h,
    )


def _pulse_line(view: PlanView, start_min: int, duration_min: int) -> PulseLine:
    starts_at = wall_time(view.plan.day, start_min, view.zone)
    return PulseLine(
        starts_at=starts_at,
        # Counted from midnight again, so that a pulse across a clock change is right.
        ends_at=wall_time(view.plan.day, start_min + duration_min, view.zone),
        duration_min=duration_min,
    )


def pause_of_day(periods: Iterable[NoWaterPeriod], day: date) -> NoWaterPeriod | None:
    """Of the periods that touch a day, the one that ends last; None: there is none."""
    return max(
        (
            period
            for period in periods
            if period.starts_local.date() <= day
            and period.ends_local > datetime.combine(day, time.min)
        ),
        key=lambda period: period.ends_local,
        default=None,
    )
