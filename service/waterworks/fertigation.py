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

CLEAN_SHARE = 0.25  # common practice, no source: a quarter of a run clean, before and after
FLUSH_TRAVEL_RATIO = 1.5  # [CHOICE]: travel times that flush the lines
SHORTEST_INJECTION_MIN = 10  # [CHOICE]: under it a valve's and an injector's lag is too much of it

_Rank = tuple[int, int, int, int, int, int]
AllowsPulse = Callable[[int, int], bool]
"""Whether a pulse with this start and duration (min) is allowed by room in the soil, windows and
supply; the caller decides."""


@dataclass(frozen=True, slots=True)
class InjectionWindow:
    """The part of a run in which injection is allowed, in minutes since the run's start."""

    opens_min: float
    closes_min: float

    @property
    def duration_min(self) -> float:
        """Length of the window."""
        return self.closes_min - self.opens_min


@dataclass(frozen=True, slots=True)
class InjectionSpan:
    """Minutes in which the injector runs, since local midnight."""

    pulse_index: int
    start_min: int
    end_min: int

    @property
    def duration_min(self) -> int:
        """Minutes of injection."""
        return self.end_min - self.start_min


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
    cautions: tuple[Advisory, ...]


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


def injection_window(run_min: float, fill_min: float, travel_min: float) -> InjectionWindow | None:
    """The part of a single run in which fertiliser may be injected.

    Shapes: scalars.
    run_min: length of the run; fill_min: until the block is full and its water even, that is pipe
    fill and travel along the lateral; travel_min: from the injector to the last emitter.
    Returns: window since the start of the run; None where nothing is left of it.
    Equation: opens at max(T/4, fill), closes max(T/4, 1.5 travel) before the end; 1.5 [CHOICE].
    >>> injection_window(90.0, 20.0, 20.0)
    InjectionWindow(opens_min=22.5, closes_min=60.0)
    """
    _check_times(fill_min, travel_min)
    opens = max(CLEAN_SHARE * run_min, fill_min)
    closes = run_min - max(CLEAN_SHARE * run_min, FLUSH_TRAVEL_RATIO * travel_min)
    return InjectionWindow(opens, closes) if closes > opens else None


def pulse_windows(
    pulses: Sequence[Pulse], fill_min: float, travel_min: float
) -> tuple[InjectionWindow | None, ...]:
    """The part of each pulse in which fertiliser may be injected.

    A single pulse is a run. Of two, the first is the clean start, and the second injects once the
    block is full again and ends with a clean quarter of both; the first does not, since all of the
    second would wash its nutrients down [CHOICE]. Of more, the first and the last run clean and
    replace the quarters; each one between must itself carry the fertiliser to the last emitter
    and flush it.

    Shapes: pulses; result as many.
    fill_min, travel_min: as of ``injection_window``.
    Returns: windows since the start of each pulse; None where a pulse must not inject.
    Equation: opens at max(fill, travel), closes 1.5 travel before the end [CHOICE], of two pulses
    max(T/4, 1.5 travel) with T their sum.
    >>> pulse_windows([Pulse(0, 60), Pulse(100, 60)], 10.0, 12.0)
    (None, InjectionWindow(opens_min=12.0, closes_min=30.0))
    >>> pulse_windows([Pulse(0, 40), Pulse(100, 60), Pulse(200, 40)], 10.0, 12.0)
    (None, InjectionWindow(opens_min=12.0, closes_min=42.0), None)
    """
    if len(pulses) == 1:
        return (injection_window(pulses[0].duration_min, fill_min, travel_min),)
    _check_times(fill_min, travel_min)
    opens = max(fill_min, travel_min)
    flush = FLUSH_TRAVEL_RATIO * travel_min
    if len(pulses) == 2:
        flush = max(CLEAN_SHARE * sum(pulse.duration_min for pulse in pulses), flush)
    found: list[InjectionWindow | None] = []
    for place, pulse in enumerate(pulses):
        closes = pulse.duration_min - flush
        injects = place in _injecting(len(pulses)) and closes > opens
        found.append(InjectionWindow(opens, closes) if injects else None)
    return tuple(found)


def _injecting(pulse_count: int) -> range:
    """Places of the pulses that may inject."""
    if pulse_count <= 2:
        return range(max(0, pulse_count - 1), pulse_count)
    return range(1, pulse_count - 1)


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
    _check_times(fill_min, travel_min)
    minutes = math.ceil(injection_min - 1e-9)
    allows = allows_pulse or (lambda _start, _duration: True)
    best: tuple[_Rank, tuple[Pulse, ...], tuple[InjectionSpan, ...]] | None = None
    for arranged, merged, changed in _arrangements(pulses, longest_pulse_min, allows):
        spans = _placed(arranged, minutes, fill_min, travel_min)
        options = [(0, arranged, spans)] if spans else []
        if not spans and largest_added_min > 0:
            options = list(
                _lengthened(
                    arranged,
                    minutes,
                    fill_min,
                    travel_min,
                    longest_pulse_min=longest_pulse_min,
                    closes_min=closes_min,
                    allows=allows,
                )
            )
        for added, lengthened, placed in options:
            if added > largest_added_min:
                continue
            longest = max(pulse.duration_min for pulse in lengthened)
            rank = (added, merged, len(placed), longest, -changed, -placed[0].start_min)
            if best is None or rank < best[0]:
                best = (rank, lengthened, placed)
    if best is None:
        return InjectionPlan(
            is_possible=False,
            pulses=tuple(pulses),
            spans=(),
            merged_count=0,
            added_min=0,
            advisories=_reasons(
                pulses,
                minutes,
                fill_min,
                travel_min,
                longest_pulse_min=longest_pulse_min,
                largest_added_min=largest_added_min,
                has_check=allows_pulse is not None,
            ),
            cautions=CHEMIGATION_CAUTIONS,
        )
    rank, chosen, chosen_spans = best
    added_min, merged_count = rank[:2]
    return InjectionPlan(
        is_possible=True,
        pulses=chosen,
        spans=chosen_spans,
        merged_count=merged_count,
        added_min=added_min,
        advisories=_changes(len(pulses), len(chosen), merged_count, added_min, len(chosen_spans)),
        cautions=CHEMIGATION_CAUTIONS,
    )


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
    plan = _longest(plan, most_min, fill_min, travel_min)
    injection = inject(
        stock,
        stock_l,
        flow_l_per_h=flow_l_per_h,
        duration_min=float(sum(span.duration_min for span in plan.spans)),
        water_ec_ds_m=water_ec_ds_m,
        is_ammonium_preferred=is_ammonium_preferred,
    )
    if injection.injector_l_per_h < injector.lowest_l_per_h:
        text = (
            f"The injector would have to run at {injection.injector_l_per_h:.2f} L/h, below the"
            f" {injector.lowest_l_per_h:.2f} that it can: make the stock solution thinner."
        )
        refused = InjectionPlan(
            is_possible=False,
            pulses=tuple(pulses),
            spans=(),
            merged_count=0,
            added_min=0,
            advisories=(Advisory("injector-too-large", text),),
            cautions=CHEMIGATION_CAUTIONS,
        )
        return Fertigation(refused, None)
    return Fertigation(plan, injection)


def _arrangements(
    pulses: Sequence[Pulse], longest_pulse_min: float, allows: AllowsPulse
) -> Iterator[tuple[tuple[Pulse, ...], int, int]]:
    """The pulses as they are, then with one run of neighbours joined, with how many and from
    which on."""
    yield tuple(pulses), 0, 0
    for first in range(len(pulses)):
        for last in range(first + 1, len(pulses)):
            water = sum(pulse.duration_min for pulse in pulses[first : last + 1])
            start = pulses[first].start_min
            if water > longest_pulse_min or not allows(start, water):
                continue
            joined = (*pulses[:first], Pulse(start, water), *pulses[last + 1 :])
            yield joined, last - first + 1, first


def _placed(
    pulses: Sequence[Pulse], minutes: int, fill_min: float, travel_min: float
) -> tuple[InjectionSpan, ...]:
    """Spans of injection that sum to the minutes, each as late as a complete flush allows; empty
    where they do not fit."""
    rooms = _rooms(pulses, fill_min, travel_min)
    whole = [room for room in rooms if room[2] - room[1] >= minutes]
    if whole:
        place, _, closes = whole[-1]
        return (InjectionSpan(place, closes - minutes, closes),)
    # Several pulses share the injection only where each one's part is worth opening for.
    shortest = min(minutes, SHORTEST_INJECTION_MIN)
    usable = [room for room in rooms if room[2] - room[1] >= shortest]
    for count in range(2, len(usable) + 1):
        taken = sorted(usable, key=lambda room: (room[2] - room[1], room[0]))[-count:]
        lengths = _shares([closes - opens for _, opens, closes in taken], minutes, shortest)
        if lengths is None:
            continue
        spans = [
            InjectionSpan(place, closes - length, closes)
            for (place, _, closes), length in zip(taken, lengths, strict=True)
        ]
        return tuple(sorted(spans, key=lambda span: span.start_min))
    return ()


def _rooms(
    pulses: Sequence[Pulse], fill_min: float, travel_min: float
) -> list[tuple[int, int, int]]:
    """Each pulse that may inject, with the whole minutes of the day between which it may."""
    rooms: list[tuple[int, int, int]] = []
    for place, window in enumerate(pulse_windows(pulses, fill_min, travel_min)):
        if window is None:
            continue
        opens = pulses[place].start_min + math.ceil(window.opens_min - 1e-9)
        closes = pulses[place].start_min + math.floor(window.closes_min + 1e-9)
        if closes > opens:
            rooms.append((place, opens, closes))
    return rooms


def _longest(
    plan: InjectionPlan, most_min: float, fill_min: float, travel_min: float
) -> InjectionPlan:
    """The same pulses with each injection begun as early as its window opens, up to the minutes
    in all: the longer the injection, the thinner the water that reaches the roots."""
    opens_of = {place: opens for place, opens, _ in _rooms(plan.pulses, fill_min, travel_min)}
    left = most_min - sum(span.duration_min for span in plan.spans)
    spans = []
    for span in reversed(plan.spans):
        more = max(0, int(min(left, span.start_min - opens_of[span.pulse_index])))
        left -= more
        spans.append(replace(span, start_min=span.start_min - more))
    return replace(plan, spans=tuple(reversed(spans)))


def _shares(rooms: Sequence[int], minutes: int, shortest: int) -> list[int] | None:
    """Whole minutes in each room, at least the shortest, that sum to the minutes."""
    if sum(rooms) < minutes or len(rooms) * shortest > minutes:
        return None
    lengths = [shortest] * len(rooms)
    left = minutes - sum(lengths)
    for place, room in enumerate(rooms):
        more = min(left, room - shortest)
        lengths[place] += more
        left -= more
    return lengths


def _lengthened(
    pulses: tuple[Pulse, ...],
    minutes: int,
    fill_min: float,
    travel_min: float,
    *,
    longest_pulse_min: float,
    closes_min: int | None,
    allows: AllowsPulse,
) -> Iterator[tuple[int, tuple[Pulse, ...], tuple[InjectionSpan, ...]]]:
    """Each pulse that may inject, lengthened until it holds the injection, with the minutes
    added."""
    last = len(pulses) - 1
    for place in _injecting(len(pulses)):
        pulse = pulses[place]
        length = _needed_min(pulses, place, minutes, fill_min, travel_min)
        ends_by = closes_min if place == last else pulses[place + 1].start_min
        is_late = ends_by is not None and pulse.start_min + length > ends_by
        if length <= pulse.duration_min or length > longest_pulse_min or is_late:
            continue
        trial = (*pulses[:place], Pulse(pulse.start_min, length), *pulses[place + 1 :])
        spans = _placed(trial, minutes, fill_min, travel_min)
        if spans and allows(pulse.start_min, length):
            yield length - pulse.duration_min, trial, spans


def _needed_min(
    pulses: Sequence[Pulse], place: int, minutes: int, fill_min: float, travel_min: float
) -> int:
    """Shortest length of one pulse, the others as they are, that holds so many minutes."""
    length = minutes + math.floor(fill_min + FLUSH_TRAVEL_RATIO * travel_min)
    while True:
        trial = [*pulses[:place], Pulse(pulses[place].start_min, length), *pulses[place + 1 :]]
        window = pulse_windows(trial, fill_min, travel_min)[place]
        if window is not None:
            whole = math.floor(window.closes_min + 1e-9) - math.ceil(window.opens_min - 1e-9)
            if whole >= minutes:
                return length
        length += 1


def _changes(
    before: int, after: int, merged: int, added_min: int, span_count: int
) -> tuple[Advisory, ...]:
    found = []
    if merged:
        text = (
            f"{merged} pulses were joined to one for the injection ({before} pulses became"
            f" {after}), with the same water. Longer pulses wet deeper: see that the soil has room."
        )
        found.append(Advisory("pulses-merged", text))
    if added_min:
        text = f"{added_min} min of water were added so that the lines are flushed clean."
        found.append(Advisory("water-added", text))
    if span_count > 1:
        text = (
            f"The injection is split over {span_count} pulses; the injector must stop with each"
            " of its spans."
        )
        found.append(Advisory("injection-split", text))
    return tuple(found)


def _reasons(
    pulses: Sequence[Pulse],
    minutes: int,
    fill_min: float,
    travel_min: float,
    *,
    longest_pulse_min: float,
    largest_added_min: int,
    has_check: bool,
) -> tuple[Advisory, ...]:
    if not pulses:
        return (Advisory("no-pulses", "Nothing runs on this day, so nothing can be injected."),)
    found = []
    flush = FLUSH_TRAVEL_RATIO * travel_min
    needed = max(fill_min, travel_min) + minutes + flush
    total = sum(pulse.duration_min for pulse in pulses)
    if len(pulses) == 1:
        window = injection_window(total, fill_min, travel_min)
        room = 0.0 if window is None else window.duration_min
        text = (
            f"The run of {total} min leaves {room:.0f} min for injection after the clean start and"
            f" before the flush; {minutes} min are needed."
        )
        found.append(Advisory("run-too-short", text))
    elif len(pulses) == 2:
        window = pulse_windows(pulses, fill_min, travel_min)[1]
        room = 0.0 if window is None else window.duration_min
        text = (
            f"Of the two pulses the first stays clean, since the second would wash its nutrients"
            f" down; the second of {pulses[1].duration_min} min leaves {room:.0f} min for injection"
            f" after filling and before a clean quarter; {minutes} min are needed."
        )
        found.append(Advisory("second-pulse-too-short", text))
    else:
        between = max(pulse.duration_min for pulse in pulses[1:-1])
        text = (
            f"The longest pulse between the first and the last has {between} min; filling,"
            f" {minutes} min of injection and the flush need {needed:.0f} min."
        )
        found.append(Advisory("pulse-too-short", text))
    if len(pulses) > 1:
        why = f"no pulse may be longer than {longest_pulse_min:.0f} min"
        if has_check:
            why += ", or soil, windows or supply do not allow a joined pulse"
        text = f"Joining pulses does not help: {why}, and all together make {total} min."
        found.append(Advisory("merging-does-not-help", text))
    if largest_added_min <= 0:
        found.append(Advisory("no-added-water", "No water may be added to lengthen a pulse."))
    else:
        text = f"The {largest_added_min} min of water that may be added do not suffice or fit."
        found.append(Advisory("added-water-too-little", text))
    text = (
        "Inject on a day with a longer run, with a stronger stock solution in less time, or in"
        " two parts on two days."
    )
    found.append(Advisory("what-helps", text))
    return tuple(found)


def _check_times(fill_min: float, travel_min: float) -> None:
    faults = [
        Fault(where, f"{value:g}", "0 min or more")
        for where, value in (("fill_min", fill_min), ("travel_min", travel_min))
        if not 0.0 <= value < math.inf
    ]
    if faults:
        raise InputInvalid("these times of filling and travel cannot be used", faults)


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
