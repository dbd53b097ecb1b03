"""The parts of a block in a reader's language and units, for commands and pages alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from service.drawing.pipe_order import Stop, pipe_order
from service.operations.waterworks.list_parts import PartsReport
from service.translations.catalogue import marked
from service.unit_sizes import (
    KPA_PER_BAR,
    KPA_PER_M_OF_HEAD,
    KPA_PER_PSI,
    L_PER_GALLON,
    L_PER_H_PER_GPM,
    L_PER_M3,
    M_PER_FOOT,
    M_PER_INCH,
    MM_PER_INCH,
)
from service.waterworks.head_filter import WaterOrigin
from service.waterworks.head_injector import Substance
from service.waterworks.parts_list import Part, PartUnit, Size, SizeUnit

if TYPE_CHECKING:
    from service.translations import Wording

Row = tuple[str, str]
SMALL_FLOW_L_PER_H = 100.0
"""Below this, flows are those of emitters."""
ORIGIN_NAMES = {
    WaterOrigin.UNKNOWN: marked("not stated"),
    WaterOrigin.WELL: marked("well"),
    WaterOrigin.SURFACE: marked("pond, stream or ditch"),
    WaterOrigin.MAINS: marked("water mains"),
}
SUBSTANCE_NAMES = {
    Substance.FERTILISER: marked("Fertilizer"),
    Substance.CHLORINE: marked("Chlorine"),
    Substance.ACID: marked("Acid"),
}


def flow(flow_l_per_h: float, words: Wording) -> str:
    """A flow: of an emitter per hour, of a zone in the unit of pumps."""
    is_small = flow_l_per_h < SMALL_FLOW_L_PER_H
    if words.unit_system == "us":
        if is_small:
            return f"{words.number(flow_l_per_h / L_PER_GALLON, 2)} gal/h"
        return words.gettext("{flow} gal/min", flow=words.number(flow_l_per_h / L_PER_H_PER_GPM, 1))
    if is_small:
        return f"{words.number(flow_l_per_h, 1)} L/h"
    return words.gettext("{flow} m³/h", flow=words.number(flow_l_per_h / L_PER_M3, 2))


def head(head_m: float, words: Wording) -> str:
    """A pressure."""
    if words.unit_system == "us":
        return f"{words.number(head_m * KPA_PER_M_OF_HEAD / KPA_PER_PSI, 1)} psi"
    return f"{words.number(head_m * KPA_PER_M_OF_HEAD / KPA_PER_BAR, 2)} bar"


def length(length_m: float, words: Wording) -> str:
    """A length of pipe in whole feet or metres; of a spacing in inches or centimetres."""
    if words.unit_system == "us":
        if length_m < 2.0:
            return f"{words.number(length_m / M_PER_INCH, 1)} {words.unit('in')}"
        return f"{words.number(length_m / M_PER_FOOT)} {words.unit('ft')}"
    return f"{words.number(length_m, 2 if length_m < 2.0 else 0)} m"


def amount(part: Part, words: Wording) -> str:
    """How many of a part, or how much of it."""
    if part.unit is PartUnit.LENGTH:
        return length(max(part.amount, 2.0), words)
    return words.number(part.amount)


def sizes(part: Part, words: Wording) -> str:
    """What a part has to meet, in one line."""
    return "; ".join(f"{words.gettext(each.label)} {_size(each, words)}" for each in part.sizes)


def price_unit(part: Part, words: Wording) -> str:
    """What one unit price is for."""
    if part.unit is PartUnit.LENGTH:
        return words.unit("ft") if words.unit_system == "us" else "m"
    return words.gettext("each")


def price_unit_m(words: Wording) -> float:
    """Metres of the unit of length that prices are for."""
    return M_PER_FOOT if words.unit_system == "us" else 1.0


def _size(size: Size, words: Wording) -> str:
    low = _measure(size.low, size.unit, words)
    if size.high is None:
        return low
    return words.gettext("{low} to {high}", low=low, high=_measure(size.high, size.unit, words))


def _measure(value: float, unit: SizeUnit, words: Wording) -> str:
    is_us = words.unit_system == "us"
    if unit is SizeUnit.FLOW:
        return flow(value, words)
    if unit is SizeUnit.HEAD:
        return head(value, words)
    if unit is SizeUnit.LENGTH:
        return length(value, words)
    if unit is SizeUnit.DIAMETER:
        if is_us:
            return f"{words.number(value / MM_PER_INCH, 2)} {words.unit('in')}"
        return f"{words.number(value, 1)} mm"
    if unit is SizeUnit.VOLUME:
        return (
            f"{words.number(value / L_PER_GALLON, 1)} gal"
            if is_us
            else (f"{words.number(value, 1)} L")
        )
    if unit is SizeUnit.AREA:
        if is_us:
            return f"{words.number(value / M_PER_FOOT**2, 1)} {words.unit('ft')}²"
        return f"{words.number(value, 2)} m²"
    return words.number(value)


def number_rows(report: PartsReport, words: Wording) -> list[Row]:
    """The numbers that the list rests on."""
    amounts, suction = report.amounts, report.suction
    return [
        (words.gettext("Drip line"), length(amounts.lateral_m, words)),
        (words.gettext("Drip lines, and length of one"),
         f"{words.number(amounts.lateral_count)} × {length(amounts.lateral_length_m, words)}"),
        (words.gettext("Emitters"), words.number(amounts.emitter_count)),
        (words.gettext("Flow of the block"), flow(amounts.block_flow_l_per_h, words)),
        (words.gettext("Zones, and flow of one"),
         f"{words.number(amounts.zone_count)} × {flow(amounts.zone_flow_l_per_h, words)}"),
        (words.gettext("Time for an inch (25 mm) of water, zones one after another"),
         words.gettext("{hours} h", hours=words.number(
             amounts.acre_inch_time_h * amounts.zone_count, 1))),
        (words.gettext("Pressure that filter and regulator need"),
         head(suction.downstream_head_m, words)),
    ]  # fmt: skip


def suction_rows(report: PartsReport, words: Wording) -> list[Row]:
    """What a suction injector needs, with and without a booster; empty without an injector."""
    if not report.places:
        return []
    found = report.suction
    rows = [
        (words.gettext("Bucket for one injection into one zone"),
         _measure(report.bucket_l, SizeUnit.VOLUME, words)),
        (words.gettext("Suction injector without a booster: pressure before it, at least"),
         head(found.least_inlet_head_m, words)),
    ]  # fmt: skip
    if (
        found.inlet_head_m is None
        or found.needed_difference_head_m is None
        or found.free_difference_head_m is None
        or found.booster_head_m is None
    ):
        rows.append((words.gettext("Pressure at the head"), words.gettext("not known")))
        return rows
    rows += [
        (words.gettext("Pressure at the head"), head(found.inlet_head_m, words)),
        (words.gettext("Pressure difference that a suction injector takes"),
         head(found.needed_difference_head_m, words)),
        (words.gettext("Pressure difference that is free"),
         head(found.free_difference_head_m, words)),
        (words.gettext("Booster pump for it, at least"),
         words.gettext("none needed") if found.booster_head_m == 0.0
         else head(found.booster_head_m, words)),
    ]  # fmt: skip
    return rows


def order_figure(report: PartsReport, words: Wording) -> Markup:
    """The order along the pipe."""
    stops = [
        Stop(
            each.kind.value,
            words.gettext(each.name),
            words.gettext(each.reason) if each.reason else "",
            each.is_in_zone,
        )
        for each in report.stations
    ]
    names = ", ".join(stop.label for stop in stops)
    zones = words.ngettext("in {count} zone", "in each of {count} zones", report.amounts.zone_count)
    return pipe_order(
        words.gettext("{name}: order along the pipe", name=report.name),
        words.gettext("From the supply to the flush ends: {names}.", names=names),
        stops,
        zones,
    )
