"""The parts of a drip block and its head, with how many of each and how large.

In: what was counted of the pipes, the filter, the regulator and the injections. Out: one record per
part, from the supply to the flush ends, with amount, sizes and where the number is from. The kind
of the backflow preventer is not chosen here: local code does that.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass

from service.waterworks.block_layout import BlockLayout
from service.waterworks.head_filter import KIND_SOURCE, MESH_SOURCE, SIZE_SOURCE, FilterChoice
from service.waterworks.head_injector import BUCKET_SOURCE, InjectionPlace
from service.waterworks.pipe_amounts import PipeAmounts, RegulatorRange

ROLL_LENGTH_M = 304.8
"""1,000 ft: a common roll of drip line (common practice, no source)."""
COUNTED = "counted from area, spacings and pipes"
COMMON = "common practice, no source"
BACKFLOW_SOURCE = (
    "local code; Washington's WAC 16-202-310, for one, wants a check valve, a vacuum relief valve"
    " and a low-pressure drain before every injection point, or an approved assembly"
)


class PartUnit(enum.StrEnum):
    """In what a part is counted."""

    LENGTH = "m"
    PIECE = "piece"


class SizeUnit(enum.StrEnum):
    """In what a size is measured."""

    FLOW = "L/h"
    HEAD = "m of water"
    DIAMETER = "mm"
    LENGTH = "m"
    VOLUME = "L"
    AREA = "m2"
    MESH = "mesh"


@dataclass(frozen=True, slots=True)
class Size:
    """One number that a part has to meet; ``high`` where it may be anything between two."""

    label: str
    low: float
    unit: SizeUnit
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """A line of the list."""

    key: str
    """The same in price lists; does not change."""
    name: str
    amount: float
    unit: PartUnit
    sizes: tuple[Size, ...] = ()
    note: str = ""
    source: str = COUNTED
    is_optional: bool = False
    """Bought with another part, or not at all: no price is missed."""


@dataclass(frozen=True, slots=True)
class PlannedHead:
    """What the list is made of."""

    amounts: PipeAmounts
    filter: FilterChoice
    regulator: RegulatorRange
    places: tuple[InjectionPlace, ...]
    """Where each substance that is injected enters."""
    bucket_l: float
    layout: BlockLayout | None
    emitter_flow_l_per_h: float
    emitter_spacing_m: float


def parts_list(head: PlannedHead) -> tuple[Part, ...]:
    """Every part in the order of the pipe.

    Shapes: one head; result (parts,).
    Returns: parts with amounts above 0, the head once and the rest by zone, line or length.
    Source: each part names its own.
    """
    return (*_before_filter(head), *_filter(head), *_injectors(head), *_zone(head), *_field(head))


def part_names() -> tuple[str, ...]:
    """Names, labels and notes of every part, for translation.

    Shapes: result (texts,).
    Returns: texts without numbers, each once.
    >>> "Drip line with its emitters" in part_names()
    True
    """
    texts = [*_NAMES.values(), *_NOTES.values(), *_LABELS.values()]
    return tuple(dict.fromkeys(texts))


def part_keys() -> tuple[str, ...]:
    """The keys that a price list may use.

    Shapes: result (keys,).
    Returns: keys of all parts, whether a block has them or not.
    >>> part_keys()[0]
    'main-valve'
    """
    return tuple(_NAMES)


def part_of(key: str, amount: float, *sizes: Size, source: str = COMMON) -> Part:
    """A part by its key, in pieces.

    Shapes: a key of ``part_keys``, a scalar, sizes.
    Returns: Part with its name and note.
    >>> part_of("main-valve", 1.0).name
    'Main shut-off valve'
    """
    unit = PartUnit.LENGTH if key in _BY_LENGTH else PartUnit.PIECE
    return Part(
        key, _NAMES[key], amount, unit, sizes, _NOTES.get(key, ""), source, key in _OPTIONAL
    )


def _before_filter(head: PlannedHead) -> list[Part]:
    flow = Size(_LABELS["flow"], head.filter.flow_l_per_h, SizeUnit.FLOW)
    return [
        part_of("main-valve", 1, flow),
        part_of("backflow-preventer", 1, flow, source=BACKFLOW_SOURCE),
        part_of("vacuum-breaker", 1 + head.amounts.zone_count),
        part_of("water-meter", 1, flow),
    ]


def _filter(head: PlannedHead) -> list[Part]:
    found = head.filter
    sizes = [
        Size(_LABELS["rated-flow"], found.rated_flow_l_per_h, SizeUnit.FLOW),
        Size(_LABELS["mesh"], found.mesh, SizeUnit.MESH),
    ]
    if found.bed_area_m2 is not None:
        sizes.append(Size(_LABELS["bed"], found.bed_area_m2, SizeUnit.AREA))
    sizes.append(Size(_LABELS["clean-at"], found.clean_at_head_m, SizeUnit.HEAD))
    source = "; ".join((KIND_SOURCE, MESH_SOURCE, SIZE_SOURCE))
    return [
        part_of("filter", 1, *sizes, source=source),
        part_of("gauge", 2 + head.amounts.zone_count),
    ]


def _injectors(head: PlannedHead) -> list[Part]:
    if not head.places:
        return []
    count = len(head.places)
    bucket = Size(_LABELS["bucket"], head.bucket_l, SizeUnit.VOLUME)
    return [
        part_of("injector", count),
        part_of("injection-check-valve", count, source=BACKFLOW_SOURCE),
        part_of("bucket", count, bucket, source=BUCKET_SOURCE),
        part_of("interlock", 1),
    ]


def _zone(head: PlannedHead) -> list[Part]:
    zones, regulator = head.amounts.zone_count, head.regulator
    flow = Size(_LABELS["flow"], regulator.flow_l_per_h, SizeUnit.FLOW)
    high = regulator.set_high_head_m
    is_one = high == regulator.set_low_head_m
    setting = Size(
        _LABELS["set"], regulator.set_low_head_m, SizeUnit.HEAD, None if is_one else high
    )
    least = Size(_LABELS["inlet"], regulator.least_inlet_head_m, SizeUnit.HEAD)
    return [
        part_of("zone-valve", zones, flow),
        part_of("pressure-regulator", zones, setting, least, flow, source=regulator.source),
    ]


def _field(head: PlannedHead) -> list[Part]:
    amounts, layout = head.amounts, head.layout
    lines = amounts.lateral_count
    header_sizes, submain_sizes, line_sizes = [], [], []
    if layout is not None:
        line_sizes.append(Size(_LABELS["bore"], layout.lateral_diameter_mm, SizeUnit.DIAMETER))
        if layout.manifold_diameter_mm is not None:
            bore = Size(_LABELS["bore"], layout.manifold_diameter_mm, SizeUnit.DIAMETER)
            header_sizes.append(bore)
        if layout.submain_diameter_mm is not None:
            bore = Size(_LABELS["bore"], layout.submain_diameter_mm, SizeUnit.DIAMETER)
            submain_sizes.append(bore)
    spacing = Size(_LABELS["spacing"], head.emitter_spacing_m, SizeUnit.LENGTH)
    emitter = Size(_LABELS["emitter"], head.emitter_flow_l_per_h, SizeUnit.FLOW)
    each = Size(_LABELS["line"], amounts.lateral_length_m, SizeUnit.LENGTH)
    parts = [
        part_of("submain", amounts.submain_m, *submain_sizes, source=COUNTED),
        part_of("header", amounts.header_m, *header_sizes, source=COUNTED),
        part_of("take-off", lines, source=COUNTED),
        part_of("drip-line", amounts.lateral_m, each, *line_sizes, spacing, emitter,
                source=COUNTED),
        part_of("emitters", amounts.emitter_count, emitter, source=COUNTED),
        part_of("coupling", math.ceil(amounts.lateral_m / ROLL_LENGTH_M - 1e-9)),
        part_of("line-flush-end", lines, source=COUNTED),
        part_of("header-flush-valve", amounts.zone_count),
    ]  # fmt: skip
    return [part for part in parts if part.amount > 0]


_OPTIONAL = frozenset({"emitters"})
_BY_LENGTH = frozenset({"submain", "header", "drip-line"})
_NAMES = {
    "main-valve": "Main shut-off valve",
    "backflow-preventer": "Backflow preventer, of the kind that local code asks for",
    "vacuum-breaker": "Air and vacuum relief valve",
    "water-meter": "Water meter",
    "filter": "Filter with a flush valve",
    "gauge": "Pressure gauge",
    "injector": "Injector",
    "injection-check-valve": "Check valve at the injector",
    "bucket": "Bucket or drum for the stock solution",
    "interlock": "Interlock that stops the injector with the water",
    "zone-valve": "Zone valve",
    "pressure-regulator": "Pressure regulator",
    "submain": "Pipe to the header",
    "header": "Header pipe",
    "take-off": "Take-off fitting, header to drip line",
    "drip-line": "Drip line with its emitters",
    "emitters": "Emitters, where they are bought apart from the line",
    "coupling": "Coupling, one to a roll of 1,000 ft (305 m)",
    "line-flush-end": "Flush end of a drip line",
    "header-flush-valve": "Flush valve at the end of a header",
}
_NOTES = {
    "backflow-preventer": (
        "Never chosen here: ask the water supplier or the county which kind there must be, and who"
        " may install and test it. Its own pressure loss is in its data sheet."
    ),
    "vacuum-breaker": (
        "One at the highest point of the head, one at the highest point of each zone, so that a"
        " draining line does not suck soil into its emitters. It does not replace the backflow"
        " preventer."
    ),
    "water-meter": "So that runs can be reported by volume, and leaks and clogging show.",
    "filter": "The maker of the emitters says how fine; that stands above this number.",
    "gauge": "On both sides of the filter, and behind each pressure regulator.",
    "injector": "One for each substance, so that nothing is mixed in it.",
    "bucket": "For one injection into one zone.",
    "emitters": "Do not buy them for drip line that has them built in.",
    "line-flush-end": "Or a pipe that joins the ends of a zone, with one valve.",
    "pressure-regulator": (
        "Its flow range must hold the flow of the zone, and the flow while its lines are flushed."
    ),
}
_LABELS = {
    "flow": "flow",
    "rated-flow": "rated flow, at least",
    "mesh": "mesh, or finer",
    "bed": "surface of sand",
    "clean-at": "clean it at a pressure difference of",
    "bucket": "volume, at least",
    "set": "set to",
    "inlet": "pressure before it, at least",
    "bore": "inside diameter",
    "spacing": "emitter spacing",
    "emitter": "flow of an emitter",
    "line": "length of one line",
}
