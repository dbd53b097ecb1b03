"""Pipes, water and fertilizer of blocks and supplies.

Everything here is stored by day, so that repeating a request changes nothing.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Path, Query

from service.api import waterworks_examples as examples
from service.api.access import Right, needs
from service.api.answers import described, problems
from service.api.dependencies import BLOCK_ID_PATTERN, BlockId, PathDay, TheService
from service.api.problem_types import (
    BUSY,
    CONFLICT,
    INVALID_REQUEST,
    MALFORMED_JSON,
    NOT_FOUND,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    ProblemType,
)
from service.api.problems import reported_as
from service.api.schemas.flow_check import FlowCheckOut
from service.api.schemas.waterworks import (
    CapacityOut,
    CapacityQuery,
    CatchTestIn,
    CatchTestListOut,
    CatchTestOut,
    FertigationIn,
    FertigationListOut,
    FertigationOut,
    FertiliserListOut,
    FertiliserOut,
    HydraulicsOut,
    HydraulicsQuery,
    SpanQuery,
    WaterReportOut,
    WaterSampleIn,
    WaterSampleListOut,
    WaterSampleOut,
)
from service.operations.evening.fit_injections import order_advisories
from service.operations.reading import block_pipes
from service.operations.reading.read_farms import get_today
from service.operations.waterworks import (
    assess_supply,
    catch_tests,
    check_flow,
    report_water,
)
from service.operations.waterworks import order_fertigation as ordering
from service.operations.waterworks.order_fertigation import FertigationRequest
from service.records.waterworks import FertigationOrder, WaterSample
from service.waterworks.acid import TitrationPoint
from service.waterworks.caution import CHEMIGATION_CAUTIONS
from service.waterworks.water_analysis import Reading

FLOW_CHECK_DAYS = 365
FERTIGATION_DAYS = 365
LAST_ORDINAL = date.max.toordinal()
_PUT_PROBLEMS: tuple[ProblemType, ...] = (
    MALFORMED_JSON,
    NOT_FOUND,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    INVALID_REQUEST,
)

_ORDER_PLACES = {"product_kg": "/products", "product": "/products"} | {
    "injector": "/injector_highest_l_per_h"
}
router = APIRouter(tags=["waterworks"])

SupplyId = Annotated[
    str,
    Path(
        pattern=BLOCK_ID_PATTERN,
        description="Supply in full, `farm.supply`: small letters, digits and hyphens.",
        examples=["hill-farm.well"],
    ),
]


# --- pipes ---------------------------------------------------------------------------------------


@router.get(
    "/blocks/{block_id}/hydraulics",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_hydraulics",
    summary="Solve a block's pipes",
    description="Pressures and flows along the block's rows from its table `[block.hydraulics]`, "
    "their uniformity, fill and travel times, the longest row for a given uniformity, "
    "and whether the pressure regulator works within its range. Not found if the "
    "pipes are not described.",
    responses={
        200: described("The solved pipes.", examples.HYDRAULICS),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_hydraulics(
    block_id: BlockId, service: TheService, query: Annotated[HydraulicsQuery, Query()]
) -> HydraulicsOut:
    """The pipes as of today."""
    return HydraulicsOut.from_record(
        block_pipes.solve_stored(
            block_id,
            on=_today(block_id, service),
            target_uniformity_pct=query.target_uniformity_pct,
            unit_of_work=service.unit_of_work,
        )
    )


@router.get(
    "/blocks/{block_id}/catch-tests",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_catch_tests",
    summary="List a block's field tests",
    description="Uniformities from volumes caught in the field, with the interval of the value "
    "that a plan may use, and the uniformity that the plan uses now.",
    responses={
        200: described("The tests.", {"items": [examples.CATCH_TEST]}),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def list_catch_tests(block_id: BlockId, service: TheService) -> CatchTestListOut:
    """The tests, the newest first."""
    found = catch_tests.list_catch_tests(
        block_id, on=_today(block_id, service), unit_of_work=service.unit_of_work
    )
    return CatchTestListOut(items=[CatchTestOut.from_record(each) for each in found])


@router.put(
    "/blocks/{block_id}/catch-tests/{day}",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="record_catch_test",
    summary="Store a field test",
    description="Volumes caught in equal times at 16 or more emitters. With `is_used`, plans use "
    "the uniformity found from the next evening on, as a new version of the block. "
    "Sending the same test again changes nothing.",
    responses={
        200: described("The test.", examples.CATCH_TEST),
        **problems(*_PUT_PROBLEMS),
    },
    openapi_extra={"requestBody": {"content": {"application/json": {"example": examples.CATCH}}}},
)
def record_catch_test(
    block_id: BlockId, day: PathDay, body: CatchTestIn, service: TheService
) -> CatchTestOut:
    """Store a test by its day."""
    report, _ = catch_tests.record_catch_test(
        block_id,
        day,
        body.caught_ml,
        is_used=body.is_used,
        effective_day=_today(block_id, service),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    return CatchTestOut.from_record(report)


@router.get(
    "/blocks/{block_id}/flow-check",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="check_flow",
    summary="Check a block's flow",
    description="Metered runs of a span against the volume that the block should take: steady, a"
    " slow change (clogging) or a jump (leak, closed valve), with its day and size.",
    responses={
        200: described("What the runs show.", examples.FLOW_CHECK),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_flow_check(
    block_id: BlockId, service: TheService, query: Annotated[SpanQuery, Query()]
) -> FlowCheckOut:
    """The verdict on the runs; nothing is stored."""
    last_day = query.last_day or _today(block_id, service)
    return FlowCheckOut.from_record(
        check_flow.check_flow(
            block_id,
            first_day=query.first_day or _apart(last_day, -FLOW_CHECK_DAYS),
            last_day=last_day,
            unit_of_work=service.unit_of_work,
        )
    )


# --- water ---------------------------------------------------------------------------------------


@router.get(
    "/supplies/{supply_id}/water-samples",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_water_samples",
    summary="List a supply's water analyses",
    description="Laboratory reports as entered, with anything doubtful about them.",
    responses={
        200: described("The reports.", {"items": [examples.WATER_SAMPLE]}),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def list_water_samples(supply_id: SupplyId, service: TheService) -> WaterSampleListOut:
    """The reports, the newest first."""
    farm_id, _, short_id = supply_id.partition(".")
    samples = report_water.list_samples(farm_id, short_id, unit_of_work=service.unit_of_work)
    return WaterSampleListOut(items=[_sample_out(each) for each in samples])


@router.put(
    "/supplies/{supply_id}/water-samples/{day}",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="record_water_sample",
    summary="Store a water analysis",
    description="A laboratory's report, each value in the unit printed by the laboratory; a "
    "titration of the same water takes precedence over the model in the acid "
    "estimate. Sending the same report again changes nothing; another one for that "
    "day replaces it.",
    responses={
        200: described("The report as stored.", examples.WATER_SAMPLE),
        **problems(*_PUT_PROBLEMS),
    },
    openapi_extra={"requestBody": {"content": {"application/json": {"example": examples.SAMPLE}}}},
)
def record_water_sample(
    supply_id: SupplyId, day: PathDay, body: WaterSampleIn, service: TheService
) -> WaterSampleOut:
    """Store a report by its day."""
    farm_id, _, short_id = supply_id.partition(".")
    sample = WaterSample(
        farm_id=farm_id,
        supply_id=short_id,
        day=day,
        laboratory=body.laboratory,
        readings=tuple(
            Reading(each.quantity, each.value, each.unit, each.is_below_detection)
            for each in body.readings
        ),
        temperature_c=body.temperature_c,
        titration=tuple(TitrationPoint(each.dose_meq_per_l, each.ph) for each in body.titration),
    )
    report_water.record_sample(sample, unit_of_work=service.unit_of_work, clock=service.clock)
    return _sample_out(sample)


@router.get(
    "/blocks/{block_id}/water-report",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_water_report",
    summary="Report on a block's water",
    description="What the newest analysis of the block's supply means: charge balance, SAR,"
    " salinity and ion classes, clogging hazard, scale, leaching requirement of the crop and the"
    " yield to expect. Each class with its source and what an adviser commonly does about it.",
    responses={
        200: described("The report.", examples.WATER_REPORT),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_water_report(block_id: BlockId, service: TheService) -> WaterReportOut:
    """The report for the block's crop."""
    return WaterReportOut.from_record(
        report_water.report_block_water(
            block_id, on=_today(block_id, service), unit_of_work=service.unit_of_work
        )
    )


@router.put(
    "/blocks/{block_id}/leaching",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="use_leaching",
    summary="Use the leaching requirement",
    description="Apply the drip leaching requirement from the newest analysis for the block's "
    "crop to its plans, from the next evening on, as a new version of the block.",
    responses={
        200: described("The report, with the leaching that the plan uses.", examples.WATER_REPORT),
        **problems(*_PUT_PROBLEMS),
    },
)
def put_leaching(block_id: BlockId, service: TheService) -> WaterReportOut:
    """Turn leaching on."""
    return WaterReportOut.from_record(
        report_water.use_leaching(
            block_id,
            effective_day=_today(block_id, service),
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    )


# --- capacity ------------------------------------------------------------------------------------


@router.get(
    "/supplies/{supply_id}/capacity",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="assess_capacity",
    summary="Assess a supply's capacity",
    description="Whether the pump and windows keep up in the latest complete summers of measured "
    "weather, as they are and with each possible change, and the flow that peak "
    "demand needs. Every summer is run with the plants at this year's size, and also "
    "at full size while they are growing. Each summer is scheduled several times "
    "over: an answer takes seconds, and one supply is assessed at a time. Invalid if "
    "no summer has complete weather; import years of daily weather first.",
    responses={
        200: described("What the summers say.", examples.CAPACITY),
        **problems(NOT_FOUND, INVALID_REQUEST, BUSY),
    },
)
def assess_capacity(
    supply_id: SupplyId, service: TheService, query: Annotated[CapacityQuery, Query()]
) -> CapacityOut:
    """What the summers say of a supply."""
    farm_id, _, short_id = supply_id.partition(".")
    return CapacityOut.from_record(
        supply_id,
        assess_supply.assess_supply(
            farm_id,
            short_id,
            year_count=query.years,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
            source_order=service.source_order,
        ),
    )


# --- fertiliser ----------------------------------------------------------------------------------


@router.get(
    "/blocks/{block_id}/fertilisers",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_fertilisers",
    summary="List fertilizers",
    description="Products that a block's farm can inject: generic ones by formula, and its own by "
    "label. The label takes precedence over these numbers.",
    responses={
        200: described("The products.", examples.FERTILISERS),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def list_fertilisers(block_id: BlockId, service: TheService) -> FertiliserListOut:
    """The products of a block's farm."""
    products = ordering.list_products(block_id.partition(".")[0], unit_of_work=service.unit_of_work)
    return FertiliserListOut(items=[FertiliserOut.from_record(each) for each in products])


@router.get(
    "/blocks/{block_id}/fertigations",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_fertigations",
    summary="List scheduled injections",
    description="Injection orders in a span, by day. When an injection runs within the pulses of "
    "its day is in that day's plan, under `injection`.",
    responses={
        200: described("The orders.", {"items": [examples.FERTIGATION]}),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def list_fertigations(
    block_id: BlockId, service: TheService, query: Annotated[SpanQuery, Query()]
) -> FertigationListOut:
    """The orders of a span."""
    first_day = query.first_day or _today(block_id, service)
    orders = ordering.list_fertigations(
        block_id,
        first_day=first_day,
        last_day=query.last_day or _apart(first_day, FERTIGATION_DAYS),
        unit_of_work=service.unit_of_work,
    )
    return FertigationListOut(items=[_order_out(each) for each in orders])


@router.put(
    "/blocks/{block_id}/fertigations/{day}",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="order_fertigation",
    summary="Schedule an injection",
    description="Fertilizer to inject on a coming day. The evening run before that day fits it "
    "into the pulses, or reports why it does not fit; a plan already issued for that "
    "day is replaced. Refused if the stock solution would not stay clear. Sending the "
    "same order again changes nothing. Nothing here opens a valve or starts a pump.",
    responses={
        200: described("The order with its cautions.", examples.FERTIGATION),
        **problems(*_PUT_PROBLEMS, CONFLICT),
    },
    openapi_extra={"requestBody": {"content": {"application/json": {"example": examples.ORDER}}}},
)
def order_fertigation(
    block_id: BlockId, day: PathDay, body: FertigationIn, service: TheService
) -> FertigationOut:
    """Store an order by its day."""
    ordering.refuse_past_day(block_id, day, unit_of_work=service.unit_of_work, clock=service.clock)
    request = FertigationRequest(
        block_id=block_id,
        day=day,
        product_kg=tuple((each.product_key, each.mass_kg) for each in body.products),
        stock_l=body.stock_l,
        temperature_c=body.temperature_c,
        injector_lowest_l_per_h=body.injector_lowest_l_per_h,
        injector_highest_l_per_h=body.injector_highest_l_per_h,
        largest_added_min=body.largest_added_min,
        travel_min=body.travel_min,
        last_nitrogen_day=body.last_nitrogen_day,
        is_late_nitrogen_confirmed=body.is_late_nitrogen_confirmed,
    )
    of_products = {
        each.product_key: f"/products/{place}/mass_kg" for place, each in enumerate(body.products)
    }
    with reported_as(of_products | _ORDER_PLACES):
        found = ordering.order_fertigation(
            request, unit_of_work=service.unit_of_work, replanning=service.replanning
        )
    return FertigationOut.from_record(found.order, found.advisories, found.cautions)


@router.delete(
    "/blocks/{block_id}/fertigations/{day}",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="cancel_fertigation",
    summary="Cancel an injection",
    description="Delete the order for a day; a plan for tomorrow that includes it is replaced.",
    responses={
        200: described("The orders left from that day on.", {"items": []}),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def cancel_fertigation(block_id: BlockId, day: PathDay, service: TheService) -> FertigationListOut:
    """Delete an order."""
    ordering.cancel_fertigation(
        block_id, day, unit_of_work=service.unit_of_work, replanning=service.replanning
    )
    orders = ordering.list_fertigations(
        block_id,
        first_day=day,
        last_day=_apart(day, FERTIGATION_DAYS),
        unit_of_work=service.unit_of_work,
    )
    return FertigationListOut(items=[_order_out(each) for each in orders])


def _sample_out(sample: WaterSample) -> WaterSampleOut:
    return WaterSampleOut.from_record(sample, report_water.check_sample(sample).advisories)


def _order_out(order: FertigationOrder) -> FertigationOut:
    return FertigationOut.from_record(order, order_advisories(order), CHEMIGATION_CAUTIONS)


def _today(block_id: str, service: TheService) -> date:
    return get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock)


def _apart(day: date, days: int) -> date:
    """A day so many days away, within what a calendar holds."""
    return date.fromordinal(min(max(day.toordinal() + days, 1), LAST_ORDINAL))
