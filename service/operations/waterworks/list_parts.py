"""The parts of a stored block, their order along the pipe, the checklists and the cost.

Everything follows from the block, its pipes where they are described, its supply and the newest
water analysis. Nothing is stored, and nothing here chooses a backflow preventer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.waterworks.report_water import check_sample, find_supply_key
from service.records.farms import BlockDefinition
from service.records.waterworks import WaterSample
from service.translations.catalogue import marked
from service.waterworks.caution import Advisory
from service.waterworks.head_checks import Checklist, checklists, head_cautions
from service.waterworks.head_filter import FilterChoice, WaterOrigin, choose_filter
from service.waterworks.head_injector import (
    COMMON_DILUTION_RATIO,
    COMMON_INJECTION_MIN,
    COMMON_LOSS_RATIO,
    InjectionPlace,
    Substance,
    SuctionPressure,
    bucket_l,
    injection_place,
    suction_pressure,
)
from service.waterworks.head_order import Station, head_order
from service.waterworks.parts_cost import PartsCost, UnitPrice, parts_cost
from service.waterworks.parts_list import Part, PlannedHead, part_keys, parts_list
from service.waterworks.pipe_amounts import (
    DripBlock,
    PipeAmounts,
    RegulatorRange,
    pipe_amounts,
    regulator_range,
)
from service.waterworks.water_report import clogging_classes

NO_REPORT = marked(
    "No water analysis with suspended solids is on file: the filter follows from the rest of it and"
    " from where the water is from. Have them analyzed before it is bought."
)
ZONE_TOO_LARGE = marked(
    "A zone takes more than the supply gives: use more zones, or a larger supply."
)
LOW_PRESSURE = marked(
    "The pressure at the head is less than filter and regulator need: the last emitters would get"
    " too little."
)
SHARED_HEAD = marked(
    "A head that waters other blocks at the same time must pass the flow of all of them; here it"
    " passes one zone of this block."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsRequest:
    """What a block does not say itself; every field has a common value."""

    origin: WaterOrigin = WaterOrigin.UNKNOWN
    substances: tuple[Substance, ...] = (Substance.FERTILISER,)
    zone_count: int | None = None
    row_length_m: float | None = None
    """Only where the pipes are not described."""
    inlet_head_m: float | None = None
    """At the head; None: as described with the pipes, else not known."""
    injection_min: float = COMMON_INJECTION_MIN
    dilution_ratio: float = COMMON_DILUTION_RATIO
    loss_ratio: float = COMMON_LOSS_RATIO


@dataclass(frozen=True, slots=True)
class PartsReport:
    """A block's parts with all that belongs to them."""

    block_id: str
    name: str
    area_m2: float
    flow_origin: str
    sample_day: date | None
    """Of the water analysis that the filter follows; None: there is none."""
    amounts: PipeAmounts
    filter: FilterChoice
    regulator: RegulatorRange
    places: tuple[InjectionPlace, ...]
    suction: SuctionPressure
    bucket_l: float
    parts: tuple[Part, ...]
    stations: tuple[Station, ...]
    checklists: tuple[Checklist, ...]
    notes: tuple[str, ...]
    """What was assumed, and what does not fit."""
    cautions: tuple[Advisory, ...]


def list_parts(
    block_id: str, request: PartsRequest, *, on: date, unit_of_work: UnitOfWorkFactory
) -> PartsReport:
    """The parts of a block; raises NotFound, or InputInvalid for numbers that cannot be."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
        samples = unit.waterworks.list_samples(
            find_supply_key(unit, block.farm_id, block.supply_id)
        )
        supply_flow_l_per_h = _supply_flow_l_per_h(unit, block, on)
    return plan_parts(block, supply_flow_l_per_h, samples[0] if samples else None, request)


def plan_parts(
    block: BlockDefinition,
    supply_flow_l_per_h: float,
    sample: WaterSample | None,
    request: PartsRequest,
) -> PartsReport:
    """The parts of a block that its supply and water are known of."""
    flow_l_per_h, flow_origin = expected_flow_l_per_h(block)
    if not flow_l_per_h > 0.0:
        raise InputInvalid(
            "the parts of this block cannot be counted",
            [Fault("flow", "none", "pipes and pressure through which water comes in")],
        )
    amounts = pipe_amounts(_counted(block, flow_l_per_h, supply_flow_l_per_h, request))
    clogging = () if sample is None else clogging_classes(check_sample(sample))
    chosen = choose_filter(
        clogging,
        request.origin,
        emitter_flow_l_per_h=block.emitter_flow_l_per_h,
        flow_l_per_h=amounts.zone_flow_l_per_h,
    )
    regulator = regulator_range(block.layout, amounts.zone_flow_l_per_h)
    substances = tuple(dict.fromkeys(request.substances))
    places = tuple(injection_place(each) for each in substances)
    suction = suction_pressure(
        regulator.least_inlet_head_m + chosen.clean_at_head_m,
        _inlet_head_m(block, request),
        loss_ratio=request.loss_ratio,
    )
    bucket = bucket_l(amounts.zone_flow_l_per_h, request.injection_min, request.dilution_ratio)
    head = PlannedHead(
        amounts=amounts,
        filter=chosen,
        regulator=regulator,
        places=places,
        bucket_l=bucket,
        layout=block.layout,
        emitter_flow_l_per_h=block.emitter_flow_l_per_h,
        emitter_spacing_m=block.emitter_spacing_m,
    )
    return PartsReport(
        block_id=block.block_id,
        name=block.name,
        area_m2=block.area_m2,
        flow_origin=flow_origin,
        sample_day=None if sample is None else sample.day,
        amounts=amounts,
        filter=chosen,
        regulator=regulator,
        places=places,
        suction=suction,
        bucket_l=bucket,
        parts=parts_list(head),
        stations=head_order(places, has_submain=amounts.submain_m > 0.0),
        checklists=checklists(substances),
        notes=_notes(amounts, chosen, suction, supply_flow_l_per_h),
        cautions=head_cautions(substances),
    )


def price_parts(
    report: PartsReport, prices: Mapping[str, UnitPrice], budget: float | None = None
) -> PartsCost:
    """What the parts cost; raises InputInvalid for prices of parts that are neither known nor
    counted by the price list itself."""
    known = part_keys()
    faults = [
        Fault(key, "no part of the list, and no amount", "a part of the list, or an amount with it")
        for key, price in prices.items()
        if key not in known and price.amount is None
    ]
    if faults:
        raise InputInvalid("these prices cannot be used", faults)
    return parts_cost(report.parts, prices, area_m2=report.area_m2, budget=budget)


def _counted(
    block: BlockDefinition, flow_l_per_h: float, supply_l_per_h: float, request: PartsRequest
) -> DripBlock:
    return DripBlock(
        area_m2=block.area_m2,
        row_spacing_m=block.row_spacing_m,
        emitter_spacing_m=block.emitter_spacing_m,
        laterals_per_row_count=block.laterals_per_row_count,
        emitter_flow_l_per_h=block.emitter_flow_l_per_h,
        block_flow_l_per_h=flow_l_per_h,
        supply_flow_l_per_h=supply_l_per_h,
        layout=block.layout,
        row_length_m=request.row_length_m,
        zone_count=request.zone_count,
    )


def _supply_flow_l_per_h(unit: UnitOfWork, block: BlockDefinition, on: date) -> float:
    bundle = unit.blocks.get_bundle(block.farm_id, day=on)
    return next(each.flow_l_per_h for each in bundle.supplies if each.supply_id == block.supply_id)


def _inlet_head_m(block: BlockDefinition, request: PartsRequest) -> float | None:
    if request.inlet_head_m is not None:
        if not 0.5 <= request.inlet_head_m <= 200.0:
            raise InputInvalid(
                "the parts of this block cannot be counted",
                [Fault("inlet_head_m", f"{request.inlet_head_m:g}", "0.5 to 200 m")],
            )
        return request.inlet_head_m
    return None if block.layout is None else block.layout.supply_head_m


def _notes(
    amounts: PipeAmounts, chosen: FilterChoice, suction: SuctionPressure, supply_l_per_h: float
) -> tuple[str, ...]:
    notes = list(amounts.assumptions)
    if not chosen.is_water_known:
        notes.append(NO_REPORT)
    if amounts.zone_flow_l_per_h > 1.001 * supply_l_per_h:
        notes.append(ZONE_TOO_LARGE)
    if suction.free_difference_head_m is not None and suction.free_difference_head_m < 0.0:
        notes.append(LOW_PRESSURE)
    notes.append(SHARED_HEAD)
    return tuple(notes)
