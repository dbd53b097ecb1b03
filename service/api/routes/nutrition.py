"""Leaf, petiole and soil tests of blocks, and the season's plan that follows from them."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query, Response

from service.api import nutrition_examples as examples
from service.api.access import Right, needs
from service.api.answers import described, problems
from service.api.dependencies import BlockId, TheService
from service.api.once import TheOnce, answered_once
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.problems import reported_as
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.nutrition import (
    NutrientPlanOut,
    NutrientPlanQuery,
    NutrientTestIn,
    NutrientTestListOut,
    NutrientTestOut,
    NutrientTestStoredOut,
    OwnRangeIn,
)
from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.nutrition.readings import NutrientReading, plant_range
from service.operations.nutrition import plan_nutrients, record_tests
from service.operations.reading.read_farms import get_today
from service.records.nutrition import NutrientTest

router = APIRouter(tags=["nutrition"])
_PLAN_PLACES = {"ph_target": "soil_ph_target"}


@router.get(
    "/blocks/{block_id}/nutrient-tests",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_nutrient_tests",
    summary="List a block's leaf, petiole and soil tests",
    description="Laboratory reports with the class of each nutrient, the range it is judged by and"
    " the source of that range. A sample taken out of season, of another tissue or with too few"
    " leaves gets no class, and `notes` says why.",
    responses={
        200: described("The tests.", {"items": [examples.TEST]}),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def list_nutrient_tests(block_id: BlockId, service: TheService) -> NutrientTestListOut:
    """The tests, the newest first."""
    found = record_tests.list_reports(
        block_id, on=_today(block_id, service), unit_of_work=service.unit_of_work
    )
    return NutrientTestListOut(items=[NutrientTestOut.from_record(each) for each in found])


@router.post(
    "/blocks/{block_id}/nutrient-tests",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="add_nutrient_test",
    summary="Store a leaf, petiole or soil test",
    description="A laboratory's report, each value in the unit that the laboratory printed. Values"
    " that no plant or soil has are refused, since the unit is then the likely mistake. Another"
    " report of the same day, tissue and stage replaces the first.",
    response_model=NutrientTestStoredOut,
    responses={
        200: described("The test and what it says.", examples.STORED),
        **problems(*REPORT_PROBLEMS),
    },
    openapi_extra={"requestBody": {"content": {"application/json": {"example": examples.BODY}}}},
)
def add_nutrient_test(
    block_id: BlockId, body: NutrientTestIn, service: TheService, once: TheOnce
) -> Response:
    """Store the test once."""

    def work(unit: UnitOfWork) -> NutrientTestStoredOut:
        with reported_as(_places(body)):
            report, outcome = record_tests.store_test(
                unit, _test(block_id, body), now=service.clock.now()
            )
        return NutrientTestStoredOut(
            test=NutrientTestOut.from_record(report),
            is_new=outcome.created_count > 0,
            is_changed=outcome.changed_count > 0,
        )

    return answered_once(once, work, service)


@router.get(
    "/blocks/{block_id}/nutrient-plan",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="plan_nutrients",
    summary="Plan a season's nutrients and soil pH",
    description="Nitrogen by day up to its last day, P2O5 and K2O, sulfur or lime, from the newest"
    " tests and the water; each line with its reason, each missing fact as a gap. A client must"
    " show `notes` beside the amounts: law, labels and the laboratory's own recommendation stand"
    " above this plan. Nothing is stored or dosed.",
    responses={
        200: described("The plan.", examples.PLAN),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_nutrient_plan(
    block_id: BlockId, service: TheService, query: Annotated[NutrientPlanQuery, Query()]
) -> NutrientPlanOut:
    """The plan of the coming season."""
    with reported_as(_PLAN_PLACES):
        return NutrientPlanOut.from_record(
            plan_nutrients.plan_nutrients(
                block_id,
                query.request(),
                on=_today(block_id, service),
                unit_of_work=service.unit_of_work,
            )
        )


def _places(body: NutrientTestIn) -> dict[str, str]:
    """Names of the operation's faults as places in the body."""
    return {
        **{name: f"/{name}" for name in ("day", "crop", "tissue", "stage", "readings")},
        "K, Ca, Mg and Na together": "/readings",
        **{each.nutrient: f"/readings/{place}/value" for place, each in enumerate(body.readings)},
    }


def _test(block_id: str, body: NutrientTestIn) -> NutrientTest:
    same = body.model_dump(exclude={"readings", "own_ranges"})
    return NutrientTest(
        **same,
        block_id=block_id,
        readings=tuple(
            NutrientReading(each.nutrient, each.value, each.unit, each.is_below_detection)
            for each in body.readings
        ),
        own_ranges=_own_ranges(body.own_ranges),
    )


def _own_ranges(given: list[OwnRangeIn]) -> dict[str, tuple[float, float]]:
    """The laboratory's ranges in our units; raises InputInvalid at the place of each."""
    found, faults = {}, []
    for place, each in enumerate(given):
        try:
            found[each.nutrient] = plant_range(each.nutrient, each.low, each.high, each.unit)
        except InputInvalid as error:
            faults += [
                Fault(f"/own_ranges/{place}", fault.found, fault.allowed) for fault in error.faults
            ]
    if faults:
        raise InputInvalid(record_tests.TITLE, faults)
    return found


def _today(block_id: str, service: TheService) -> date:
    return get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock)
