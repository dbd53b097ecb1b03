"""The parts in the order in which water passes them, from the supply to the flush ends.

In: the parts of a block and what is injected. Out: stations along the pipe, each with what stands
there and why there. The order is common practice (extension guides agree on it); local code stands
above it.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass

from service.waterworks.head_injector import InjectionPlace, Substance


class StationKind(enum.StrEnum):
    """How a station is drawn."""

    PART = "part"
    GAUGE = "gauge"
    INJECTOR = "injector"
    BY_CODE = "by-code"
    FILTER = "filter"


@dataclass(frozen=True, slots=True)
class Station:
    """One place along the pipe."""

    key: str
    kind: StationKind
    name: str
    reason: str
    is_in_zone: bool = False
    """Once in each zone; False: once in the head."""


def head_order(places: Sequence[InjectionPlace], *, has_submain: bool) -> tuple[Station, ...]:
    """The stations from the supply to the flush ends.

    Shapes: (substances,), a flag; result (stations,).
    Returns: stations; injectors before or behind the filter, as their substance asks for.
    Source: common practice; the check valve before every injection point, WAC 16-202-310.
    >>> [each.key for each in head_order((), has_submain=False)][:3]
    ['supply', 'main-valve', 'backflow-preventer']
    """
    before = [_INJECTORS[each.substance] for each in places if each.is_before_filter]
    behind = [_INJECTORS[each.substance] for each in places if not each.is_before_filter]
    return (
        *_UP_TO_METER,
        *before,
        *_AROUND_FILTER,
        *behind,
        *((_SUBMAIN,) if has_submain else ()),
        *_IN_ZONE,
    )


def order_texts() -> tuple[str, ...]:
    """Names and reasons of every station, for translation.

    Shapes: result (texts,).
    Returns: texts without numbers, each once.
    >>> "Supply: pump, well or hydrant" in order_texts()
    True
    """
    stations = (
        *_UP_TO_METER, *_AROUND_FILTER, _SUBMAIN, *_IN_ZONE, *_INJECTORS.values()
    )  # fmt: skip
    return tuple(
        dict.fromkeys(text for each in stations for text in (each.name, each.reason) if text)
    )


_UP_TO_METER = (
    Station("supply", StationKind.PART, "Supply: pump, well or hydrant", ""),
    Station(
        "main-valve", StationKind.PART, "Main shut-off valve",
        "First, so that all that follows can be opened without pressure.",
    ),
    Station(
        "backflow-preventer", StationKind.BY_CODE, "Backflow preventer",
        "Of the kind that local code asks for; before every point of injection.",
    ),
    Station(
        "vacuum-breaker", StationKind.PART, "Air and vacuum relief valve",
        "At the highest point of the head.",
    ),
    Station("water-meter", StationKind.PART, "Water meter", "Counts all that the block takes."),
)  # fmt: skip
_INJECTORS = {
    Substance.FERTILISER: Station(
        "injector-fertiliser", StationKind.INJECTOR, "Injector: fertilizer",
        "Before the filter, with a check valve at the injector.",
    ),
    Substance.CHLORINE: Station(
        "injector-chlorine", StationKind.INJECTOR, "Injector: chlorine",
        "Before the filter, with a check valve at the injector; never with acid or fertilizer.",
    ),
    Substance.ACID: Station(
        "injector-acid", StationKind.INJECTOR, "Injector: acid",
        "Behind the filter and all metal, with a check valve at the injector; never with chlorine.",
    ),
}  # fmt: skip
_AROUND_FILTER = (
    Station(
        "gauge-before", StationKind.GAUGE, "Pressure gauge", "What comes in to the filter."
    ),
    Station(
        "filter", StationKind.FILTER, "Filter with a flush valve",
        "Before every part with a narrow passage.",
    ),
    Station(
        "gauge-behind", StationKind.GAUGE, "Pressure gauge",
        "The difference of the two says when the filter has to be cleaned.",
    ),
)  # fmt: skip
_SUBMAIN = Station("submain", StationKind.PART, "Pipe to the header", "")
_IN_ZONE = (
    Station(
        "zone-valve", StationKind.PART, "Zone valve", "Before the regulator, which then never"
        " holds the pressure of the supply with no flow.", is_in_zone=True,
    ),
    Station(
        "pressure-regulator", StationKind.PART, "Pressure regulator",
        "Behind the filter, close to the header.", is_in_zone=True,
    ),
    Station(
        "zone-gauge", StationKind.GAUGE, "Pressure gauge", "Shows whether the regulator still"
        " holds its setting.", is_in_zone=True,
    ),
    Station(
        "zone-vacuum-breaker", StationKind.PART, "Air and vacuum relief valve",
        "At the highest point of the zone.", is_in_zone=True,
    ),
    Station(
        "header", StationKind.PART, "Header pipe with take-offs", "With a flush valve at its end.",
        is_in_zone=True,
    ),
    Station("drip-line", StationKind.PART, "Drip lines", "", is_in_zone=True),
    Station(
        "line-flush-end", StationKind.PART, "Flush ends", "One to a line; open them in turns.",
        is_in_zone=True,
    ),
)  # fmt: skip
