"""A plan as a grower reads it in the evening, and the same plan as JSON.

First what to do, then why, then what to watch. The texts come from the agronomy room; here they are
arranged and wrapped to 80 columns.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from rich.table import Table
from rich.text import Text

from service.agronomy.civil_day import wall_time
from service.agronomy.pulse_plan import ShortfallCause, is_news
from service.agronomy.reasoning import describe_plan_flags, explain_cause, one_sentence
from service.cli import shown
from service.cli.terminal import UnitSystem, out, paragraph, plain_table
from service.delivery.day_order import BlockState, state_of
from service.delivery.spread_words import NO_SPREAD, band_words, short_chance_words
from service.operations.reading.block_lines import line_of_plan
from service.operations.reading.plan_spread import band_columns, spread_json, spread_missing
from service.operations.reading.planned_injections import planned_injection
from service.operations.reading.read_plans import PlanView
from service.records.farms import FarmDefinition
from service.translations import wording
from service.unit_sizes import L_PER_GALLON, L_PER_M3

CAUTIONS = (
    "A plan assumes that the system works: walk the lines.",
    "Forecasts and soil numbers are estimates: check the soil before you act on a surprise.",
    "Backflow prevention and chemigation follow local code and licensed practice.",
    "A plan never starts a pump by itself.",
)
STATE_WORDS = {
    BlockState.UNKNOWN: "NO PLAN",
    BlockState.SHORT: "SHORT",
    BlockState.WATER: "water",
    BlockState.PAUSED: "paused",
    BlockState.REST: "rest",
}
INDENT = "  "
_STATUS_STYLE = {"water": "bold cyan", "rest": "bold green", "no-weather": "bold red"}


@dataclass(frozen=True, slots=True)
class WeatherAge:
    """Source and age of a plan's weather, from its reasoning."""

    source: str | None
    kind: str | None
    issued_at: datetime | None
    age_h: float | None
    """Age of the weather when the plan was issued."""
    settled_day: date | None
    """Last day that the block's balance has settled on observed weather."""


def show_plans(
    views: Sequence[PlanView], farms: Mapping[str, FarmDefinition], units: UnitSystem | None
) -> None:
    """Print plans farm by farm, with cautions and attributions at the end."""
    for farm_id in dict.fromkeys(view.block.farm_id for view in views):
        own = [view for view in views if view.block.farm_id == farm_id]
        farm = farms[farm_id]
        _show_farm(farm, own, units or UnitSystem(farm.unit_system))
    out.print()
    for caution in CAUTIONS:
        paragraph(caution, style="dim")


def _show_farm(farm: FarmDefinition, views: Sequence[PlanView], units: UnitSystem) -> None:
    days = sorted({view.plan.day for view in views})
    out.print()
    newest = max(views, key=lambda view: view.plan.issued_at)
    times = shown.clock_names(days[0], days[-1], views[0].zone)
    title = f"{farm.name}: plan for {shown.listed(map(shown.long_day, days))} ({times})"
    out.print(Text(title, style="bold"))
    issued = shown.moment(newest.plan.issued_at, newest.zone)
    out.print(f"issued {issued}; {_total(views, units)}")
    out.print()
    out.print(_table(views, units))
    shared = _shared_cautions(views)
    for view in views:
        out.print()
        _show_block(view, units, shared)
    out.print()
    if len([view for view in views if view.plan.pulses]) > 1:
        paragraph(f"Run order: {'; '.join(run_order(views))}.")
    for text in dict.fromkeys(_weather_line(view) for view in views):
        paragraph(text)
    for text, names in shared.items():
        whose = "All blocks" if len(names) == len(views) else shown.listed(names)
        paragraph(f"! {whose}: {text}")


def _table(views: Sequence[PlanView], units: UnitSystem) -> Table:
    """The whole day, one line a block, in the order of their first starts."""
    is_us = units is UnitSystem.US
    water = "Water, gal" if is_us else "Water, m3"
    table = plain_table("Block", "Start", "Minutes", water, "State", right=(2, 3))
    table.columns[0].overflow = "ellipsis"
    table.columns[0].no_wrap = True
    for view in sorted(views, key=_first_start):
        cells = ("", "", "")
        if view.plan.pulses:
            volume_l = view.plan.reasoning.volume_l or 0.0
            cells = (
                shown.clock(start_times(view)[0], view.zone),
                _minutes(view),
                f"{volume_l / L_PER_GALLON:,.0f}" if is_us else f"{volume_l / L_PER_M3:,.1f}",
            )
        table.add_row(view.block.name, *cells, state_in_words(view))
    return table


def _minutes(view: PlanView) -> str:
    """``45``, ``3 x 40 = 120`` or ``3 pulses = 113``."""
    lengths = [minutes for _, minutes in view.plan.pulses]
    if len(lengths) == 1:
        return str(view.plan.planned_min)
    is_even = len(set(lengths)) == 1
    each = f"{len(lengths)} x {lengths[0]}" if is_even else f"{len(lengths)} pulses"
    return f"{each} = {view.plan.planned_min}"


def _first_start(view: PlanView) -> tuple[bool, int, str]:
    """Blocks that run by their first start, then the others by name."""
    pulses = view.plan.pulses
    return not pulses, pulses[0][0] if pulses else 0, view.block.name


def state_in_words(view: PlanView) -> str:
    """What the block's day is about, in a word or two."""
    if view.plan.is_dormant:
        return "dormant"
    if not view.plan.pulses and view.plan.reasoning.cause is ShortfallCause.OUTAGE:
        return STATE_WORDS[BlockState.PAUSED]
    return STATE_WORDS[state_of(line_of_plan(view))]


def _total(views: Sequence[PlanView], units: UnitSystem) -> str:
    watered = [view for view in views if view.plan.planned_min]
    if not watered:
        return "no block is watered"
    volume_l = sum((view.plan.reasoning.volume_l or 0.0) for view in watered)
    return (
        f"{len(watered)} of {shown.count(len(views), 'block')} watered,"
        f" {shown.volume(volume_l, units)}"
    )


def _show_block(view: PlanView, units: UnitSystem, said_once: Container[str]) -> None:
    out.print(f"{view.block.name} ({view.block.block_id})")
    _indented(headline(view, units), style=_STATUS_STYLE[view.plan.status])
    if view.plan.reasoning.visit_count:
        for start_at, (_, minutes) in zip(start_times(view), view.plan.pulses, strict=True):
            opens = shown.clock(start_at, view.zone)
            closes = shown.clock(start_at + timedelta(minutes=minutes), view.zone)
            _indented(f"Open the valve at {opens}, close it at {closes} ({minutes} min)")
    if view.plan.status != "no-weather":
        _indented(sentence(view, units))
    for text in (*_less_than_asked(view, units), *cautions(view)):
        if text not in said_once:
            _indented(f"! {text}")
    _show_injection(view)
    if view.plan.status != "no-weather":
        _indented(_outlook_line(view), style="dim")
        for text in () if view.plan.is_dormant else _spread_lines(view):
            _indented(text, style="dim")


def _show_injection(view: PlanView) -> None:
    """Print the day's injection with its cautions; nothing if none is ordered."""
    found = planned_injection(view.plan)
    if found is None:
        return
    what = ", ".join(f"{mass_kg:g} kg {name}" for name, mass_kg in found.products)
    if found.is_possible:
        spans = ", ".join(f"{start:%H:%M}-{end:%H:%M}" for start, end in found.spans)
        _indented(
            f"INJECT {what} in {found.stock_l:g} L of stock at {spans},"
            f" {found.injector_l_per_h:.1f} L/h (1 to {found.dilution_ratio:.0f}); EC rises by"
            f" {found.ec_rise_ds_m:.2f} dS/m",
            style="bold cyan",
        )
    else:
        _indented(f"NO INJECTION of {what}: it does not fit", style="bold red")
    for text in (*found.advisories, *found.cautions):
        _indented(f"! {text}")


def _indented(text: str, *, style: str = "") -> None:
    paragraph(text, indent=INDENT, style=style)


def headline(view: PlanView, units: UnitSystem) -> str:
    """What to do, in one line: pulses, their starts, minutes, volume."""
    plan = view.plan
    if plan.status == "no-weather":
        return "NO PLAN: no weather data"
    if not plan.pulses:
        return "DORMANT" if plan.is_dormant else "REST"
    starts = [shown.clock(start, view.zone) for start in start_times(view)]
    lengths = [minutes for _, minutes in plan.pulses]
    how_much = f"= {plan.planned_min} min, {shown.volume(plan.reasoning.volume_l or 0.0, units)}"
    if len(set(lengths)) == 1:
        return f"WATER {len(lengths)} x {lengths[0]} min at {', '.join(starts)} {how_much}"
    each = ", ".join(f"{start} ({minutes})" for start, minutes in zip(starts, lengths, strict=True))
    return f"WATER {len(lengths)} x {min(lengths)}-{max(lengths)} min at {each} {how_much}"


def start_times(view: PlanView) -> list[datetime]:
    """Start of each pulse in site time."""
    return [wall_time(view.plan.day, start, view.zone) for start, _ in view.plan.pulses]


def run_order(views: Sequence[PlanView]) -> list[str]:
    """Every pulse of these plans by start time, as ``04:00-05:09 blackberry``."""
    pulses = [
        (start, timedelta(minutes=length_min), view)
        for view in views
        for start, (_, length_min) in zip(start_times(view), view.plan.pulses, strict=True)
    ]
    pulses.sort(key=lambda pulse: (pulse[0], pulse[2].block.block_id))
    return [
        f"{shown.clock(start, view.zone)}-{shown.clock(start + length, view.zone)}"
        f" {view.block.block_id.rpartition('.')[2]}"
        for start, length, view in pulses
    ]


def sentence(view: PlanView, units: UnitSystem) -> str:
    """The reason in one sentence."""
    return one_sentence(
        view.plan.reasoning.quantities,
        view.plan.pulses,
        write_depth=lambda depth_mm: shown.depth(depth_mm, units),
    )


def cautions(view: PlanView) -> tuple[str, ...]:
    """Cautions to read with the minutes."""
    day = view.plan.reasoning.taken_full_day
    return describe_plan_flags(
        view.plan.reasoning.flags, full_on="" if day is None else shown.short_day(day)
    )


def cause(view: PlanView) -> str:
    """Why less is planned than needed; empty if the need is met."""
    return explain_cause(view.plan.reasoning.cause)


def _less_than_asked(view: PlanView, units: UnitSystem) -> tuple[str, ...]:
    why = cause(view)
    if not why or view.plan.status == "no-weather":
        return ()
    short_mm = view.plan.reasoning.shortfall_mm or 0.0
    left_mm = view.plan.reasoning.deferred_mm or 0.0
    numbers = view.plan.reasoning.quantities
    if is_news(short_mm, numbers):
        return (f"SHORT of water by {shown.depth(short_mm, units)}: {why}.",)
    if not is_news(left_mm, numbers):
        return ()
    return (f"{shown.depth(left_mm, units)} of the need has to wait: {why}.",)


def _shared_cautions(views: Sequence[PlanView]) -> dict[str, list[str]]:
    """Cautions that apply to several blocks, with their names, printed once at the end."""
    about: dict[str, list[str]] = {}
    for view in views:
        for text in cautions(view):
            about.setdefault(text, []).append(view.block.name)
    return {text: names for text, names in about.items() if len(names) > 1}


def _outlook_line(view: PlanView) -> str:
    minutes = expected_minutes(view)
    days = [view.plan.day + timedelta(days=place) for place in range(len(minutes))]
    parts = [
        f"{day:%a} {'?' if value is None else f'{value:.0f}'}"
        for day, value in zip(days, minutes, strict=True)
    ]
    dry = view.plan.reasoning.unwatered_until_day
    end = (
        f"; without irrigation, stress begins on {shown.short_day(dry)}"
        if dry is not None
        else "; needs no irrigation all week"
    )
    return f"Next days, min: {', '.join(parts)}{end}"


def _spread_lines(view: PlanView) -> tuple[str, ...]:
    """How far the days ahead may differ, and the chance of running short without water."""
    line = line_of_plan(view)
    ahead = [each for each in line.outlook if each.day > view.plan.day]
    if not any(each.band_min for each in ahead):
        return (NO_SPREAD,)
    words = wording("en", "us")
    spans = ", ".join(f"{each.day:%a} {band_words(each, words)}" for each in ahead)
    return f"Eight times of ten, min: {spans}", short_chance_words(line, view.plan.day, words)


def expected_minutes(view: PlanView) -> list[float | None]:
    """Minutes expected on each day of the outlook; the first is the plan itself."""
    minutes = view.plan.reasoning.outlook_expected_min
    return [float(view.plan.planned_min), *minutes[1:]] if minutes else []


def weather_age(view: PlanView) -> WeatherAge:
    """Source and age of the weather that the plan's day was computed with."""
    settled_day = view.plan.reasoning.settled_day
    origin = view.plan.weather.origin("tmax_c", view.plan.day)
    if origin is None:
        return WeatherAge(None, None, None, None, settled_day)
    return WeatherAge(
        source=origin.source,
        kind=origin.kind,
        issued_at=origin.issued_at,
        age_h=(view.plan.issued_at - origin.issued_at).total_seconds() / 3600.0,
        settled_day=settled_day,
    )


def _weather_line(view: PlanView) -> str:
    weather = weather_age(view)
    observed = (
        f"observed up to {shown.short_day(weather.settled_day)}"
        if weather.settled_day
        else "nothing observed yet"
    )
    if weather.issued_at is None or weather.age_h is None:
        return f"Weather: {observed}; no forecast for the day of the plan."
    return (
        f"Weather: {observed}; {weather.kind} of {shown.moment(weather.issued_at, view.zone)}"
        f" ({weather.source}), {shown.age(weather.age_h * 3600.0)} old when the plan was made."
    )


def plan_document(view: PlanView) -> dict[str, object]:
    """One plan for JSON, in SI units."""
    plan, weather = view.plan, weather_age(view)
    minutes = expected_minutes(view)
    levels = plan.reasoning.outlook_depletion_mm
    return {
        "block_id": plan.block_id,
        "farm_id": view.block.farm_id,
        "name": view.block.name,
        "day": plan.day,
        "zone": view.zone,
        "version": plan.version,
        "issued_at": plan.issued_at,
        "status": plan.status,
        "planned_min": plan.planned_min,
        "gross_mm": plan.gross_mm,
        "net_mm": plan.net_mm,
        "volume_l": plan.reasoning.volume_l,
        "pulses": [
            {"starts_at": start, "start_min": first_min, "duration_min": length_min}
            for start, (first_min, length_min) in zip(start_times(view), plan.pulses, strict=True)
        ],
        "reason": sentence(view, UnitSystem.SI),
        "cause": cause(view),
        "deferred_mm": plan.reasoning.deferred_mm,
        "shortfall_mm": plan.reasoning.shortfall_mm,
        "cautions": cautions(view),
        "injection": planned_injection(plan),
        "outlook": [
            {
                "day": plan.day + timedelta(days=place),
                "expected_min": value,
                "depletion_end_mm": level,
                "expected_band_min": minutes_band,
                "depletion_band_mm": level_band,
            }
            for place, (value, level, minutes_band, level_band) in enumerate(
                zip(
                    minutes,
                    levels,
                    band_columns(plan.reasoning.outlook_band_min, len(minutes)),
                    band_columns(plan.reasoning.outlook_band_depletion_mm, len(minutes)),
                    strict=True,
                )
            )
        ],
        "spread": spread_json(plan),
        "spread_missing": spread_missing(plan),
        "unwatered_until_day": plan.reasoning.unwatered_until_day,
        "weather": {
            "source": weather.source,
            "kind": weather.kind,
            "issued_at": weather.issued_at,
            "age_h": None if weather.age_h is None else round(weather.age_h, 2),
            "settled_day": weather.settled_day,
        },
    }
