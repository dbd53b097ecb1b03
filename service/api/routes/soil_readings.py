"""Soil readings: what a probe or tensiometer shows for a block."""

from __future__ import annotations

from fastapi import APIRouter, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import described, problems
from service.api.change_examples import SOIL, SOIL_DONE
from service.api.dependencies import BlockId, TheService
from service.api.once import TheOnce, answered_once, reporter_of
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.bodies import SoilReadingIn
from service.api.schemas.feedback import SoilReadingOut
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.feedback.estimate_soil import estimate_soil
from service.operations.feedback.read_soil import StoredSoilReading, read_soil

router = APIRouter(tags=["feedback"])


@router.post(
    "/blocks/{block_id}/soil-readings",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="report_soil_reading",
    summary="Report a soil reading",
    description="Water content or tension in the wetted soil, at a depth; or, of the whole root "
    "zone, the share of its available water that is left, as judged by hand. The balance is "
    "corrected towards it with a weight of 0.8 times the share of the root depth that "
    "the sensor covers; an estimate counts by half, and fully as long as the plan "
    "had to assume how wet the soil was (`taken_full_day`). A reading before noon is "
    "compared with the start of the day, so take it before the day's first irrigation; a "
    "later one with the end of the day. Another reading for the same time replaces the "
    "first.",
    response_model=SoilReadingOut,
    responses={
        200: described("The reading and its weight.", SOIL_DONE),
        **problems(*REPORT_PROBLEMS),
    },
    openapi_extra={"requestBody": {"content": {"application/json": {"example": SOIL}}}},
)
def report_soil(
    block_id: BlockId,
    body: SoilReadingIn,
    service: TheService,
    caller: TheCaller,
    once: TheOnce,
) -> Response:
    """Store the reading once."""
    return answered_once(
        once,
        lambda unit: SoilReadingOut.from_record(
            _store(unit, block_id, body, reporter_of(caller), service)
        ),
        service,
    )


def _store(
    unit: UnitOfWork, block_id: str, body: SoilReadingIn, reporter: str, service: Service
) -> StoredSoilReading:
    if body.available_fraction is None:
        if body.depth_m is None:
            allowed = "a depth; or available_fraction alone"
            raise InputInvalid("a depth is missing", [Fault("/depth_m", "nothing", allowed)])
        return read_soil(
            unit,
            block_id,
            read_at=body.read_at,
            top_depth_m=max(0.0, body.depth_m - body.reach_m),
            bottom_depth_m=body.depth_m + body.reach_m,
            volumetric_water=body.volumetric_water,
            tension_kpa=body.tension_kpa,
            note=body.note,
            reporter=reporter,
            replanning=service.replanning,
        )
    sensed = {
        "depth_m": body.depth_m,
        "volumetric_water": body.volumetric_water,
        "tension_kpa": body.tension_kpa,
    }
    faults = [
        Fault(f"/{name}", f"{value:g}", "nothing beside available_fraction")
        for name, value in sensed.items()
        if value is not None
    ]
    if faults:
        raise InputInvalid("an estimate is of the whole root zone", faults)
    return estimate_soil(
        unit,
        block_id,
        body.available_fraction,
        read_at=body.read_at,
        note=body.note,
        reporter=reporter,
        replanning=service.replanning,
    )
