"""What is dosed into a block's water, and what its pump takes: estimates, never instructions."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query

from service.api import dosing_examples as examples
from service.api.access import Right, needs
from service.api.answers import described, problems
from service.api.dependencies import BlockId, PathDay, TheService
from service.api.problem_types import (
    INVALID_REQUEST,
    MALFORMED_JSON,
    NOT_FOUND,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
)
from service.api.schemas.dosing import (
    AcidEstimateOut,
    AcidQuery,
    AcidTreatmentIn,
    ChlorineEstimateOut,
    ChlorineQuery,
    GivenAcidOut,
    PumpingOut,
    PumpQuery,
)
from service.api.schemas.fertiliser_split import SplitOut, SplitQuery
from service.operations.reading.read_farms import get_today
from service.operations.waterworks import estimate_acid as acids
from service.operations.waterworks import estimate_chlorine as chlorines
from service.operations.waterworks import estimate_pumping as pumps
from service.operations.waterworks import record_acid as given
from service.operations.waterworks.split_need import split_need
from service.records.waterworks import AcidTreatment

router = APIRouter(tags=["waterworks"])


@router.get(
    "/blocks/{block_id}/acid-estimate",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="estimate_acid",
    summary="Estimate an acid dose",
    description="How much acid the water of the block's supply would take to reach a pH: per"
    " volume, as a rate for the block's flow, for one short injection and for a season, with what"
    " it brings and costs. How low a pH may be asked for depends on crop, duration and on what the"
    " water passes behind the injector. An estimate, never an instruction to open or start"
    " anything: a client must show `cautions` before the numbers.",
    responses={
        200: described("The estimate with its cautions.", examples.ACID),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_acid_estimate(
    block_id: BlockId, service: TheService, query: Annotated[AcidQuery, Query()]
) -> AcidEstimateOut:
    """The dose with its cautions."""
    return AcidEstimateOut.from_record(
        acids.estimate_block_acid(
            block_id,
            query.request(),
            on=get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock),
            unit_of_work=service.unit_of_work,
        )
    )


@router.put(
    "/blocks/{block_id}/acid-treatments/{day}",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="record_acid_treatment",
    summary="Record acid that was given",
    description="All acid that went into a block's water on one day; another record for that day"
    " replaces it. The season's total and the soil pH of the nutrient plan count it.",
    responses={
        200: described("The acid of that calendar year.", examples.GIVEN_ACID),
        **problems(MALFORMED_JSON, NOT_FOUND, TOO_LARGE, UNSUPPORTED_MEDIA_TYPE, INVALID_REQUEST),
    },
    openapi_extra={
        "requestBody": {"content": {"application/json": {"example": examples.ACID_TREATMENT}}}
    },
)
def record_acid(
    block_id: BlockId, day: PathDay, body: AcidTreatmentIn, service: TheService
) -> GivenAcidOut:
    """Store the acid of a day."""
    given.record_acid(
        AcidTreatment(
            block_id=block_id,
            day=day,
            acid_key=body.acid,
            strength_pct=body.strength_pct,
            product_l=body.product_l,
        ),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    return _given(block_id, day, service)


@router.get(
    "/blocks/{block_id}/acid-treatments",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_acid_treatments",
    summary="List acid that was given",
    description="Acid of this calendar year as it was recorded, with what it brought.",
    responses={
        200: described("The acid of the year.", examples.GIVEN_ACID),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def list_acid(block_id: BlockId, service: TheService) -> GivenAcidOut:
    """Of the year up to today."""
    today = get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock)
    return _given(block_id, today, service)


@router.delete(
    "/blocks/{block_id}/acid-treatments/{day}",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="remove_acid_treatment",
    summary="Delete a record of acid",
    description="Delete what was recorded for a day.",
    responses={
        200: described("The acid left of that calendar year.", examples.GIVEN_ACID),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def remove_acid(block_id: BlockId, day: PathDay, service: TheService) -> GivenAcidOut:
    """Delete the record of a day."""
    given.remove_acid(block_id, day=day, unit_of_work=service.unit_of_work)
    return _given(block_id, day, service)


def _given(block_id: str, day: date, service: TheService) -> GivenAcidOut:
    """The acid of a day's calendar year, up to today."""
    today = get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock)
    last = min(today, day.replace(month=12, day=31))
    return GivenAcidOut.from_record(
        given.list_acid(block_id, on=last, unit_of_work=service.unit_of_work)
    )


@router.get(
    "/blocks/{block_id}/chlorine-estimate",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="estimate_chlorine",
    summary="Estimate a chlorine dose",
    description="How much chlorine leaves so much of it free at the last emitter, after iron,"
    " manganese and sulfide of the newest analysis have taken their part. An estimate, never an"
    " instruction to open or start anything: a client must show `cautions` beside the number.",
    responses={
        200: described("The estimate with its cautions.", examples.CHLORINE),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_chlorine_estimate(
    block_id: BlockId, service: TheService, query: Annotated[ChlorineQuery, Query()]
) -> ChlorineEstimateOut:
    """The dose with its cautions."""
    return ChlorineEstimateOut.from_record(
        chlorines.estimate_block_chlorine(
            block_id,
            chlorines.ChlorineRequest(
                free_mg_per_l=query.free_mg_per_l,
                product_g_per_l=query.product_g_per_l,
                is_acid_injected=query.with_acid,
            ),
            on=get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock),
            unit_of_work=service.unit_of_work,
        )
    )


@router.get(
    "/blocks/{block_id}/fertiliser-split",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="split_fertiliser",
    summary="Split a season's need over days and products",
    description="How much of each product goes out on which day so that a season's need is met,"
    " with an account of every nutrient: what is missing, and what comes along unasked. No nitrogen"
    " is planned after its last day. Nothing is stored or ordered: a client must show `cautions`"
    " before the numbers.",
    responses={
        200: described("The season with its cautions.", examples.SPLIT),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_fertiliser_split(
    block_id: BlockId, service: TheService, query: Annotated[SplitQuery, Query()]
) -> SplitOut:
    """Of the need, days and products of the question."""
    return SplitOut.from_record(
        split_need(
            query.request(block_id),
            on=get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock),
            unit_of_work=service.unit_of_work,
        )
    )


@router.get(
    "/blocks/{block_id}/pumping",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="estimate_pumping",
    summary="Estimate energy and cost of a plan",
    description="Power while the block runs, energy and cost of the minutes of its newest plan.",
    responses={
        200: described("What the pump takes.", examples.PUMPING),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_pumping(
    block_id: BlockId, service: TheService, query: Annotated[PumpQuery, Query()]
) -> PumpingOut:
    """Of the newest plan."""
    return PumpingOut.from_record(
        pumps.estimate_pumping(
            block_id,
            pumps.PumpRequest(
                head_m=query.head_m,
                efficiency_pct=query.efficiency_pct,
                energy_price=query.energy_price,
            ),
            on=get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock),
            unit_of_work=service.unit_of_work,
        )
    )
