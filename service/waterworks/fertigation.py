"""When, inside the pulses of a day, fertiliser may be injected so that every plant gets its share.

In: the pulses of one block on one day, the time that water takes to fill the block and to travel
to its last emitter, the stock solution and the injector. Out: the spans of injection, with pulses
merged or lengthened where that is needed and allowed, or the reasons why it cannot be. Water runs
clean first, until the block is full and even, and again at the end, until the lines hold no
fertiliser. The quarters are common practice, no source; the travel times are hydraulics.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from service.errors import Fault, InputInvalid
from service.pulses import Pulse
from service.waterworks.caution import CHEMIGATION_CAUTIONS, Advisory
from service.waterworks.fertiliser import Injection, StockSolution, inject
from service.waterworks.injection_advice import changes, reasons
from service.waterworks.injection_span import (
    SHORTEST_INJECTION_MIN,
    InjectionSpan,
    longest_spans,
    needed_pulse_min,
    placed_spans,
)
from service.waterworks.injection_window import check_times, injecting_places

_Rank = tuple[int, int, int, int, int, int]
AllowsPulse = Callable[[int, int], bool]
"""Whether a pulse with this start and duration (min) is allowed by room in the soil, windows and
supply; the caller decides."""


@dataclass(frozen=True, slots=True)
class InjectionPlan:
    """Pulses of a fertigation day and the spans of injection in them."""

    is_possible: bool
    pulses: tuple[Pulse, ...]
    """As they should run; as they were where injection is not possible."""
    spans: tuple[InjectionSpan, ...]
    merged_count: int
    """Pulses that were joined into one; 0 if none were."""
    added_min: int
    """Minutes of water added to make the injection fit."""
    advisories: tuple[Advisory, ...]
    """What was changed, or why it cannot be."""
    cautions: tuple[Advisory, ...] = CHEMIGATION_CAUTIONS


@dataclass(frozen=True, slots=True)
class Injector:
    """What an injector can do."""

    lowest_l_per_h: float
    highest_l_per_h: float


@dataclass(frozen=True, slots=True)
class Fertigation:
    """An injection plan with the rates that go with it."""

    plan: InjectionPlan
    injection: Injection | None
    """None where it is not possible."""


@dataclass(frozen=True, slots=True)
class _Day:
    """A day's pulses, what must fit into them and how far they may be changed."""

    pulses: tuple[Pulse, ...]
    minutes: int
    fill_min: float
    travel_min: float
    longest_pulse_min: float
    largest_added_min: int
    closes_min: int | None
    allows: AllowsPulse


def plan_injection(
    pulses: Sequence[Pulse],
    injection_min: float,
    *,
    fill_min: float,
    travel_min: float,
    longest_pulse_min: float,
    largest_added_min: int = 0,
    closes_min: int | None = None,
    allows_pulse: AllowsPulse | None = None,
) -> InjectionPlan:
    """Where in a day's pulses an injection fits, changing them as little as possible.

    Tried in turn: the pulses as they are, in one of them or in several; neighbours joined into one,
    with the same water; pulses lengthened, with the least water added. Of equal changes the one
    with the shortest pulses is taken, and of equal pulses the latest, after which the least water
    washes the nutrients down.

    Shapes: pulses in order of time, scalars.
    injection_min: minutes that the injector needs; longest_pulse_min: no changed pulse is longer;
    largest_added_min: water that may be added, 0 for none; closes_min: end of the window of the
    last pulse, where it is lengthened; allows_pulse: the caller's check of a changed pulse.
    Returns: InjectionPlan; where nothing fits it is not possible and says why. Pulses that overlap
    or numbers out of range raise ``InputInvalid``.
    Equation: windows of ``pulse_windows``.
    >>> day = [Pulse(300 + 72 * n, 24) for n in range(5)]
    >>> plan = plan_injection(day, 20.0, fill_min=8.0, travel_min=8.0, longest_pulse_min=60.0)
    >>> plan.merged_count, plan.spans[0].duration_min, sum(p.duration_min for p in plan.pulses)
    (2, 20, 120)
    """
    _check_pulses(pulses, injection_min, longest_pulse_min, largest_added_min)
    check_times(fill_min, travel_min)
    minutes = math.ceil(injection_min - 1e-9)
    day = _Day(
        tuple(pulses), minutes, fill_min, travel_min, longest_pulse_min, largest_added_min,
        closes_min, allows_pulse or (lambda _start, _duration: True),
    )  # fmt: skip
    options = list(_options(day))
    if options:
        return min(options, key=lambda option: option[0])[1]
    why = reasons(
        pulses,
        minutes,
        fill_min,
        travel_min,
        longest_pulse_min=longest_pulse_min,
        largest_added_min=largest_added_min,
        has_check=allows_pulse is not None,
    )
    return _impossible(pulses, why)


def plan_fertigation(
    pulses: Sequence[Pulse],
    stock: StockSolution,
    stock_l: float,
    *,
    injector: Injector,
    flow_l_per_h: float,
    fill_min: float,
    travel_min: float,
    longest_pulse_min: float,
    shortest_injection_min: float = SHORTEST_INJECTION_MIN,
    largest_added_min: int = 0,
    closes_min: int | None = None,
    allows_pulse: AllowsPulse | None = None,
    water_ec_ds_m: float = 0.0,
    is_ammonium_preferred: bool = False,
) -> Fertigation:
    """The plan and rates for injecting an amount of stock solution in a day's pulses.

    Shapes: pulses in order of time, scalars.
    stock_l: what goes in today; the others as of ``plan_injection`` and ``fertiliser.inject``.
    Returns: Fertigation; what goes in is what was planned, because the rate follows from the whole
    minutes of injection. Numbers out of range raise ``InputInvalid``.
    Equation: minutes = max(shortest, 60 V / highest rate), rounded up, is what must fit; it runs
    for as much of its windows as 60 V / lowest rate allows, and rate = 60 V / minutes.
    """
    _check_injector(injector, stock_l)
    needed_min = max(shortest_injection_min, 60.0 * stock_l / injector.highest_l_per_h)
    plan = plan_injection(
        pulses,
        needed_min,
        fill_min=fill_min,
        travel_min=travel_min,
        longest_pulse_min=longest_pulse_min,
        largest_added_min=largest_added_min,
        closes_min=closes_min,
        allows_pulse=allows_pulse,
    )
    if not plan.is_possible:
        return Fertigation(plan, None)
    lowest = injector.lowest_l_per_h
    most_min = 60.0 * stock_l / lowest + 1e-9 if lowest > 0.0 else math.inf
    spans = longest_spans(plan.pulses, plan.spans, most_min, fill_min, travel_min)
    injection = inject(
        stock,
        stock_l,
        flow_l_per_h=flow_l_per_h,
        duration_min=float(sum(span.duration_min for span in spans)),
        water_ec_ds_m=water_ec_ds_m,
        is_ammonium_preferred=is_ammonium_preferred,
    )
    if injection.injector_l_per_h < lowest:
        return Fertigation(_impossible(pulses, (_too_large(injection, injector),)), None)
    return Fertigation(replace(plan, spans=spans), injection)


def _impossible(pulses: Sequence[Pulse], why: tuple[Advisory, ...]) -> InjectionPlan:
    """The day's pulses as they were, without an injection."""
    return InjectionPlan(
        is_possible=False,
        pulses=tuple(pulses),
        spans=(),
        merged_count=0,
        added_min=0,
        advisories=why,
    )


def _too_large(injection: Injection, injector: Injector) -> Advisory:
    text = (
        f"The injector would have to run at {injection.injector_l_per_h:.2f} L/h, below the"
        f" {injector.lowest_l_per_h:.2f} that it can: make the stock solution thinner."
    )
    return Advisory("injector-too-large", text)


def _options(day: _Day) -> Iterator[tuple[_Rank, InjectionPlan]]:
    """Every way in which the injection fits, with its rank: the least is the best."""
    for arranged, merged, changed in _arrangements(day):
        spans = placed_spans(arranged, day.minutes, day.fill_min, day.travel_min)
        found = [(0, arranged, spans)] if spans else []
        if not spans and day.largest_added_min > 0:
            found = list(_lengthened(day, arranged))
        for added, pulses, placed in found:
            if added > day.largest_added_min:
                continue
            longest = max(pulse.duration_min for pulse in pulses)
            rank = (added, merged, len(placed), longest, -changed, -placed[0].start_min)
            said = changes(len(day.pulses), len(pulses), merged, added, len(placed))
            yield (
                rank,
                InjectionPlan(
                    is_possible=True,
                    pulses=pulses,
                    spans=placed,
                    merged_count=merged,
                    added_min=added,
                    advisories=said,
                ),
            )


def _arrangements(day: _Day) -> Iterator[tuple[tuple[Pulse, ...], int, int]]:
    """The pulses as they are, then with one run of neighbours joined, with how many and from
    which on."""
    pulses = day.pulses
    yield pulses, 0, 0
    for first in range(len(pulses)):
        for last in range(first + 1, len(pulses)):
            water = sum(pulse.duration_min for pulse in pulses[first : last + 1])
            start = pulses[first].start_min
            if water > day.longest_pulse_min or not day.allows(start, water):
                continue
            joined = (*pulses[:first], Pulse(start, water), *pulses[last + 1 :])
            yield joined, last - first + 1, first


def _lengthened(
    day: _Day, pulses: tuple[Pulse, ...]
) -> Iterator[tuple[int, tuple[Pulse, ...], tuple[InjectionSpan, ...]]]:
    """Each pulse that may inject, lengthened until it holds the injection, with the minutes
    added."""
    last = len(pulses) - 1
    for place in injecting_places(len(pulses)):
        pulse = pulses[place]
        length = needed_pulse_min(pulses, place, day.minutes, day.fill_min, day.travel_min)
        ends_by = day.closes_min if place == last else pulses[place + 1].start_min
        is_late = ends_by is not None and pulse.start_min + length > ends_by
        if length <= pulse.duration_min or length > day.longest_pulse_min or is_late:
            continue
        trial = (*pulses[:place], Pulse(pulse.start_min, length), *pulses[place + 1 :])
        spans = placed_spans(trial, day.minutes, day.fill_min, day.travel_min)
        if spans and day.allows(pulse.start_min, length):
            yield length - pulse.duration_min, trial, spans


def _check_injector(injector: Injector, stock_l: float) -> None:
    if not 0.0 <= injector.lowest_l_per_h < injector.highest_l_per_h < math.inf:
        found = f"{injector.lowest_l_per_h:g} to {injector.highest_l_per_h:g}"
        raise InputInvalid(
            "this injector cannot be used",
            [Fault("injector", f"{found} L/h", "a lowest rate of 0 or more, below the highest")],
        )
    if not 0.0 < stock_l < math.inf:
        raise InputInvalid(
            "there is nothing to inject", [Fault("stock_l", f"{stock_l:g}", "above 0 L")]
        )


def _check_pulses(
    pulses: Sequence[Pulse],
    injection_min: float,
    longest_pulse_min: float,
    largest_added_min: int,
) -> None:
    faults = []
    for place, pulse in enumerate(pulses):
        if pulse.duration_min <= 0:
            faults.append(Fault(f"pulses[{place}]", f"{pulse.duration_min} min", "above 0 min"))
        if place and pulse.start_min < pulses[place - 1].end_min:
            allowed = f"{pulses[place - 1].end_min} min or later, after the pulse before it"
            faults.append(Fault(f"pulses[{place}] start", f"{pulse.start_min} min", allowed))
    if not 0.0 < injection_min < math.inf:
        faults.append(Fault("injection_min", f"{injection_min:g}", "above 0 min"))
    if not 0.0 < longest_pulse_min < math.inf:
        faults.append(Fault("longest_pulse_min", f"{longest_pulse_min:g}", "above 0 min"))
    if largest_added_min < 0:
        faults.append(Fault("largest_added_min", f"{largest_added_min}", "0 min or more"))
    if faults:
        raise InputInvalid("this injection cannot be planned", faults)
