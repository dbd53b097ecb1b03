"""The reasoning behind a plan as the command line prints it, and the same as JSON."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime

from rich.text import Text

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.member_checks import members_words
from service.agronomy.reasoning import Step
from service.agronomy.weather_agreement import REASON_TEXT
from service.attributions import attribution_line
from service.cli import shown
from service.cli.ledger_text import (
    ALLEY_COLUMNS,
    LEDGER_COLUMNS,
    START,
    has_alley,
    ledger_depth,
    ledger_table,
)
from service.cli.plan_text import headline, plan_document, sentence
from service.cli.terminal import UnitSystem, out, paragraph, plain_table
from service.delivery.spread_words import NO_SPREAD, hindsight_words
from service.delivery.weekly_words import effect_words
from service.operations.reading.read_balance import ledger_lines
from service.operations.reading.read_plans import Explanation, PlanView
from service.records.feedback import MeteredDay
from service.records.weather_basis import FieldOrigin
from service.translations import wording
from service.unit_sizes import (
    FAHRENHEIT_PER_CELSIUS,
    FREEZING_POINT_F,
    L_PER_GALLON,
    L_PER_H_PER_GPM,
    M_PER_FOOT,
    M_S_PER_MPH,
    MM_PER_INCH,
)

WIDE_TERMINAL = 160  # columns from which labels need no wrapping


def show_explanation(explanation: Explanation, units: UnitSystem) -> None:
    """Print a plan, the ledger that leads to it, and every step from the weather to its minutes."""
    view = explanation.view
    out.print(
        Text(
            f"{view.block.name} ({view.block.block_id}), plan for {shown.long_day(view.plan.day)},"
            f" version {view.plan.version}",
            style="bold",
        )
    )
    paragraph(headline(view, units))
    paragraph(sentence(view, units))
    out.print()
    table = plain_table("Step", "Value", "How")
    if out.width < WIDE_TERMINAL:
        table.columns[0].width = 22
        table.columns[1].width = 14
    for step in explanation.steps:
        how = f"{step.worked} [{step.source}]"
        table.add_row(step.label, _step_value(step, units), how)
        table.add_section()
    out.print(table)
    block = view.block
    paragraph(
        f"Where the day's maximum of {block.daily_maximum_min:g} min is from:"
        f" {block.origins['daily_maximum_min']}."
    )
    weekly = effect_words(view.plan, view.zone, wording("en", "si"))
    if weekly:
        paragraph(weekly)
    _show_ledger(explanation, units)
    _show_borrowed(view, units)
    _show_set_aside(view, units)
    _show_spread(view, units)
    _show_hindsight(explanation, units)
    _show_origins(view)


def explanation_document(explanation: Explanation) -> dict[str, object]:
    """The same for JSON, in SI units."""
    view = explanation.view
    return {
        "plan": plan_document(view),
        "steps": [
            {name: value for name, value in asdict(step).items() if name != "decimals"}
            for step in explanation.steps
        ],
        "weekly_no_water": [asdict(each) for each in view.plan.reasoning.weekly_hours],
        "ledger": list(ledger_lines(explanation.ledger, view.block.trigger_fraction)),
        "metered": list(explanation.metered),
        "set_aside": [
            {**asdict(each), "reason": each.reason.name.lower()}
            for each in view.plan.weather.set_aside
        ],
        "rain_spread": None
        if view.plan.weather.rain_spread is None
        else asdict(view.plan.weather.rain_spread),
        "hindsight": None if explanation.hindsight is None else asdict(explanation.hindsight),
        "borrowed_reference_et": [asdict(span) for span in view.plan.weather.borrowed],
    }


def _show_ledger(explanation: Explanation, units: UnitSystem) -> None:
    """Print the days of the ledger up to the midnight that the plan begins with."""
    fraction = explanation.view.block.trigger_fraction
    lines = ledger_lines(explanation.ledger, fraction)
    if not lines:
        return
    out.print()
    paragraph(
        f"Ledger up to that midnight, {shown.depth_unit(units)}: end = start - rain that enters"
        " - net irrigation + what drains + crop use (Ks x Kc x ET0) + other (soil readings, a"
        " change of the zone's size)."
    )
    columns: tuple[tuple[str, str], ...] = (START, *LEDGER_COLUMNS)
    if has_alley(lines):
        columns += ALLEY_COLUMNS
        paragraph(
            "Outside the wet strip the crop uses stored rain first: what comes from there (outside)"
            " is taken off the end, and stored is what is left."
        )
    out.print(ledger_table(lines, columns, units))
    for metered in explanation.metered:
        for text in _metered_texts(metered, units):
            paragraph(text)
    plan, last = explanation.view.plan, lines[-1]
    if not last.leads_to(plan):
        paragraph(
            "The plan was made with"
            f" {ledger_depth(plan.reasoning.depletion_midnight_mm or 0.0, units)}"
            f" {shown.depth_unit(units)} at the end of {shown.short_day(last.day)}; weather,"
            " runs or readings have come in since."
        )
    out.print()


def _metered_texts(metered: MeteredDay, units: UnitSystem) -> list[str]:
    """What the meter counted on a day, and how the day is booked."""
    day, texts = shown.short_day(metered.day), []
    if metered.booked_l:
        leaks = f", {metered.leakage_fraction:.0%} of it leaks" if metered.leakage_fraction else ""
        texts.append(
            f"{day}: {shown.volume(metered.booked_l, units)} by the meter{leaks}; the day is booked"
            f" as {shown.depth(metered.irrigation_gross_mm, units)} gross."
        )
    if metered.questioned_l:
        texts.append(
            f"{day}: {shown.volume(metered.questioned_l, units)} by the meter are questioned, so"
            " that the minutes are booked; correct the run, or report it again with"
            " --confirm-volume."
        )
    return texts


def _show_borrowed(view: PlanView, units: UnitSystem) -> None:
    """Print the past days whose reference ET is that of a place nearby."""
    for span in view.plan.weather.borrowed:
        days = (
            f"on {shown.short_day(span.first_day)}"
            if span.first_day == span.last_day
            else f"from {shown.short_day(span.first_day)} to {shown.short_day(span.last_day)}"
        )
        paragraph(
            f"Reference ET {days} is that of a place {shown.distance(span.distance_km, units)} away"
            f" x {span.neighbour_ratio:.4f}, the ratio of the two sums over"
            f" {shown.count(span.common_days_count, 'day')} around that both know; it is computed"
            " as soon as the weather of these days comes in."
        )


def _show_set_aside(view: PlanView, units: UnitSystem) -> None:
    """Print values of the most trusted source that were not used."""
    for each in view.plan.weather.set_aside:
        said, used = (
            "not known" if value is None else shown.weather_value(each.name, value, units)
            for value in (each.value, each.used)
        )
        paragraph(
            f"{shown.short_day(each.day)}: {each.name} of {each.source} ({each.kind}), {said}, was"
            f" set aside: {REASON_TEXT[each.reason]}. Used: {used}."
        )


def _show_spread(view: PlanView, units: UnitSystem) -> None:
    """Print how much rain the members of the forecast bring, and what is known about them."""
    spread = view.plan.weather.rain_spread
    if spread is None or view.plan.day not in spread.days:
        paragraph(NO_SPREAD)
        return
    row = spread.days.index(view.plan.day)
    lowest, middle, highest, wet = (
        column[row]
        for column in (
            spread.rain_p10_mm, spread.rain_p50_mm, spread.rain_p90_mm, spread.wet_fraction,
        )
    )  # fmt: skip
    if lowest is None or middle is None or highest is None or wet is None:
        return
    origin = f"members of {spread.models}" if spread.models else "made from chance and amount"
    paragraph(
        f"Of {shown.count(spread.member_count, 'course')} that the forecast may take ({origin}),"
        f" {wet:.0%} bring rain on {shown.short_day(view.plan.day)}: one in ten at most"
        f" {shown.depth(lowest, units)}, half at most {shown.depth(middle, units)}, nine in ten at"
        f" most {shown.depth(highest, units)}."
    )
    counts = spread.chance_that_counts(view.plan.day)
    if counts is not None:
        paragraph(
            f"{counts:.0%} bring rain that counts for the root zone, at least a fifth of reference"
            " ET."
        )
    for words in members_words(spread.flags):
        paragraph(words)


def _show_hindsight(explanation: Explanation, units: UnitSystem) -> None:
    """Print what the rain of a day that is over would have changed."""
    today = explanation.view.plan.day - ONE_DAY
    text = hindsight_words(explanation.hindsight, today, wording("en", units.value))
    if text:
        paragraph(text)


def _show_origins(view: PlanView) -> None:
    """Print the sources of the day's weather, with attributions."""
    by_origin: dict[tuple[str, str, datetime], list[FieldOrigin]] = {}
    for field in view.plan.weather.field_origins(view.plan.day):
        key = (field.origin.source, field.origin.kind, field.origin.issued_at)
        by_origin.setdefault(key, []).append(field)
    if not by_origin:
        paragraph("No source had weather for that day.")
    for (source, kind, issued_at), fields in by_origin.items():
        listed = ", ".join(_field_words(field) for field in fields)
        paragraph(f"From {source} ({kind}, issued {issued_at:%Y-%m-%d %H:%M} UTC): {listed}.")
        thanks = attribution_line(source)
        if thanks is not None:
            paragraph(thanks)


def _field_words(field: FieldOrigin) -> str:
    notes = []
    if field.hours_present is not None:
        notes.append(f"{field.hours_present:g} hours")
    if field.estimated_from is not None:
        notes.append(f"estimated from {field.estimated_from}")
    return f"{field.name} ({', '.join(notes)})" if notes else field.name


def _step_value(step: Step, units: UnitSystem) -> str:
    if step.value is None:
        return "not known"
    text = f"{step.value:,.{step.decimals}f} {step.unit}".rstrip()
    if units is UnitSystem.SI:
        return text
    also = _in_us_units(step.value, step.unit)
    return f"{text}\n{also}" if also else text


def _in_us_units(value: float, unit: str) -> str:
    """The same value in US units; empty if the unit is the same."""
    match unit:
        case "mm":
            return shown.depth(value, UnitSystem.US)
        case "mm/h":
            return f"{value / MM_PER_INCH:.3f} in/h"
        case "m":
            return f"{value / M_PER_FOOT:,.0f} ft"
        case "L":
            return f"{value / L_PER_GALLON:,.0f} gal"
        case "L/h":
            return f"{value / L_PER_H_PER_GPM:,.1f} gal/min"
        case "°C":
            return f"{value * FAHRENHEIT_PER_CELSIUS + FREEZING_POINT_F:.0f} °F"
        case "m/s":
            return f"{value / M_S_PER_MPH:.1f} mph"
    return ""
