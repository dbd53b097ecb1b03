"""The part of a run in which fertiliser may be injected, between filling and flush.

In: the pulses of a block, the time that water takes to fill it and to travel to its last emitter.
Out: a window for each pulse. The quarters are common practice, no source; the travel times are
hydraulics.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from service.errors import Fault, InputInvalid
from service.pulses import Pulse

CLEAN_SHARE = 0.25  # common practice, no source: a quarter of a run clean, before and after
FLUSH_TRAVEL_RATIO = 1.5  # [CHOICE]: travel times that flush the lines


@dataclass(frozen=True, slots=True)
class InjectionWindow:
    """The part of a run in which injection is allowed, in minutes since the run's start."""

    opens_min: float
    closes_min: float

    @property
    def duration_min(self) -> float:
        """Length of the window."""
        return self.closes_min - self.opens_min


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
    check_times(fill_min, travel_min)
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
    check_times(fill_min, travel_min)
    opens = max(fill_min, travel_min)
    flush = FLUSH_TRAVEL_RATIO * travel_min
    if len(pulses) == 2:
        flush = max(CLEAN_SHARE * sum(pulse.duration_min for pulse in pulses), flush)
    found: list[InjectionWindow | None] = []
    for place, pulse in enumerate(pulses):
        closes = pulse.duration_min - flush
        injects = place in injecting_places(len(pulses)) and closes > opens
        found.append(InjectionWindow(opens, closes) if injects else None)
    return tuple(found)


def injecting_places(pulse_count: int) -> range:
    """Places of the pulses that may inject.

    Shapes: scalar.
    Returns: the only pulse, the second of two, or all between the first and the last.
    >>> list(injecting_places(1)), list(injecting_places(2)), list(injecting_places(4))
    ([0], [1], [1, 2])
    """
    if pulse_count <= 2:
        return range(max(0, pulse_count - 1), pulse_count)
    return range(1, pulse_count - 1)


def check_times(fill_min: float, travel_min: float) -> None:
    """Refuse times of filling and travel that no pipe has.

    Shapes: scalars.
    Returns: nothing; raises ``InputInvalid`` with every fault.
    """
    faults = [
        Fault(where, f"{value:g}", "0 min or more")
        for where, value in (("fill_min", fill_min), ("travel_min", travel_min))
        if not 0.0 <= value < math.inf
    ]
    if faults:
        raise InputInvalid("these times of filling and travel cannot be used", faults)
