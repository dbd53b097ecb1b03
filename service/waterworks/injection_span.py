"""Where in the pulses of a day the injector runs: whole minutes inside their windows.

In: pulses with the times of filling and travel, and the minutes that the injector needs. Out: the
spans of injection, or none where they do not fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.pulses import Pulse
from service.waterworks.injection_window import FLUSH_TRAVEL_RATIO, pulse_windows

SHORTEST_INJECTION_MIN = 10  # [CHOICE]: under it a valve's and an injector's lag is too much of it


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


def placed_spans(
    pulses: Sequence[Pulse], minutes: int, fill_min: float, travel_min: float
) -> tuple[InjectionSpan, ...]:
    """Spans of injection that sum to the minutes, each as late as a complete flush allows.

    Shapes: pulses in order of time, scalars; result (spans,).
    Returns: spans in order of time; empty where they do not fit.
    Source: windows of ``pulse_windows``; pulses share it only where each part is worth
    opening for [CHOICE].
    >>> placed_spans([Pulse(0, 60), Pulse(100, 60)], 18, 10.0, 12.0)
    (InjectionSpan(pulse_index=1, start_min=112, end_min=130),)
    """
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


def longest_spans(
    pulses: Sequence[Pulse],
    spans: Sequence[InjectionSpan],
    duration_min: float,
    fill_min: float,
    travel_min: float,
) -> tuple[InjectionSpan, ...]:
    """The spans begun as early as their windows open, up to so many minutes in all.

    The longer the injection, the thinner the water that reaches the roots.

    Shapes: pulses, spans in order of time, scalars; result (spans,).
    Returns: as many spans, none shorter; the last is lengthened first.
    >>> late = placed_spans([Pulse(0, 60), Pulse(100, 60)], 10, 10.0, 12.0)
    >>> longest_spans([Pulse(0, 60), Pulse(100, 60)], late, 15.0, 10.0, 12.0)
    (InjectionSpan(pulse_index=1, start_min=115, end_min=130),)
    """
    opens_of = {place: opens for place, opens, _ in _rooms(pulses, fill_min, travel_min)}
    left = duration_min - sum(span.duration_min for span in spans)
    longer = []
    for span in reversed(spans):
        more = max(0, int(min(left, span.start_min - opens_of[span.pulse_index])))
        left -= more
        longer.append(replace(span, start_min=span.start_min - more))
    return tuple(reversed(longer))


def needed_pulse_min(
    pulses: Sequence[Pulse], place: int, minutes: int, fill_min: float, travel_min: float
) -> int:
    """Shortest length of one pulse, the others as they are, that holds so many minutes.

    Shapes: pulses in order of time, scalars.
    place: of the pulse.
    Returns: [min], whole.
    Source: windows of ``pulse_windows``.
    >>> needed_pulse_min([Pulse(0, 60), Pulse(100, 30)], 1, 20, 10.0, 12.0)
    63
    """
    length = minutes + math.floor(fill_min + FLUSH_TRAVEL_RATIO * travel_min)
    while True:
        trial = [*pulses[:place], Pulse(pulses[place].start_min, length), *pulses[place + 1 :]]
        window = pulse_windows(trial, fill_min, travel_min)[place]
        if window is not None:
            whole = math.floor(window.closes_min + 1e-9) - math.ceil(window.opens_min - 1e-9)
            if whole >= minutes:
                return length
        length += 1


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
