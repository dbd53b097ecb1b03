"""Observations: meters and soil sensors, many in a request."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any, Final

import orjson
from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from pydantic import ValidationError

from service.api.access import Caller, Right, TheCaller, needs
from service.api.answers import described, problems
from service.api.change_examples import OBSERVATIONS, OBSERVATIONS_CSV, OBSERVATIONS_DONE
from service.api.dependencies import TheService
from service.api.once import TheOnce, answered_once, reporter_of
from service.api.problems import faults_as_errors, validation_errors
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.observations import (
    NUMBER_COLUMNS,
    OBSERVATION_COLUMNS,
    LineErrors,
    ObservationIn,
    ObservationsOut,
)
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.feedback.record_observations import (
    MOST_OBSERVATIONS,
    Observation,
    record_observations,
)

router = APIRouter(tags=["feedback"])
OBSERVATIONS_PATH: Final = "/v1/observations"
_SCHEMA: Final[dict[str, Any]] = {
    "type": "object",
    "additionalProperties": False,
    "required": ["items"],
    "properties": {
        "items": {
            "type": "array",
            "minItems": 1,
            "maxItems": MOST_OBSERVATIONS,
            "items": ObservationIn.model_json_schema(),
        }
    },
}
_COUNT = f"1 to {MOST_OBSERVATIONS:,} observations"


@router.post(
    "/observations",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="record_observations",
    summary="Report observations of meters and sensors",
    description="Up to 10,000 results of water meters and soil sensors of any blocks of the farm, "
    "as JSON or as a table (`Content-Type: text/csv`, first line "
    f"`{','.join(OBSERVATION_COLUMNS)}`). Each is answered by itself: what cannot be right is "
    "refused with its reason, the rest is stored, and plans follow once. Sending one again changes "
    "nothing; another result for the same block and time corrects the first. Soil readings are "
    "taken as in `report_soil`, up to 60 days late; a meter's result is a metered run as in "
    "`report_runs`, up to 400 days late.",
    response_model=ObservationsOut,
    response_model_exclude_none=True,
    responses={
        200: described("What became of each.", OBSERVATIONS_DONE),
        **problems(*REPORT_PROBLEMS),
    },
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {
                "application/json": {"schema": _SCHEMA, "example": OBSERVATIONS},
                "text/csv": {"schema": {"type": "string"}, "example": OBSERVATIONS_CSV},
            },
        }
    },
)
async def post_observations(
    request: Request, service: TheService, caller: TheCaller, once: TheOnce
) -> Response:
    """Store what can be right, once."""
    body = await request.body()
    is_table = request.headers.get("content-type", "").lower().startswith("text/csv")
    return await run_in_threadpool(
        lambda: answered_once(
            once,
            lambda unit: _record(unit, _rows(body, is_table=is_table), service, caller),
            service,
        )
    )


def _record(
    unit: UnitOfWork, rows: Sequence[object], service: Service, caller: Caller
) -> ObservationsOut:
    errors: list[Sequence[LineErrors]] = []
    readable: list[Observation] = []
    places: list[int] = []
    for place, row in enumerate(rows):
        try:
            readable.append(ObservationIn.model_validate(row).as_observation())
            places.append(place)
            errors.append(())
        except ValidationError as error:
            found = [{**each, "loc": ("body", *each["loc"])} for each in error.errors()]
            errors.append(validation_errors(found))
    recorded = record_observations(
        unit,
        readable,
        farm_id=caller.farm_id,
        reporter=reporter_of(caller),
        replanning=service.replanning,
    )
    for place, faults in zip(places, recorded.faults, strict=True):
        errors[place] = faults_as_errors(faults)
    return ObservationsOut.of(recorded, errors)


def _rows(body: bytes, *, is_table: bool) -> Sequence[object]:
    """The observations of a body as they stand there; raises InputInvalid for no list of them."""
    if is_table:
        return _table(body)
    document = orjson.loads(body or b"null")  # that it is JSON was seen before
    items = document.get("items") if isinstance(document, dict) else None
    if not isinstance(items, list) or set(document) != {"items"}:
        raise InputInvalid("there are no observations", [Fault("/items", "nothing", _COUNT)])
    if not 1 <= len(items) <= MOST_OBSERVATIONS:
        found = f"{len(items)} observations"
        raise InputInvalid("the number of observations", [Fault("/items", found, _COUNT)])
    return items


def _table(body: bytes) -> Sequence[object]:
    try:
        reader = csv.reader(io.StringIO(body.decode("utf-8-sig"), newline=""), strict=True)
        header = next(reader, [])
        unknown = set(header) - set(OBSERVATION_COLUMNS)
        if unknown or len(set(header)) < len(header) or not {"block_id", "result"} <= set(header):
            allowed = f"the columns {', '.join(OBSERVATION_COLUMNS)}, each once"
            raise InputInvalid("the first line", [Fault("", "other columns", allowed)])
        lines = [line for line in reader if line]
    except (UnicodeDecodeError, csv.Error) as error:
        fault = Fault("", "something else", "a table with commas in UTF-8")
        raise InputInvalid("the table cannot be read", [fault]) from error
    if not 1 <= len(lines) <= MOST_OBSERVATIONS:
        raise InputInvalid("the number of observations", [Fault("", f"{len(lines)} lines", _COUNT)])
    return [_row(header, line) for line in lines]


def _row(header: Sequence[str], line: Sequence[str]) -> Mapping[str, object] | None:
    """A line by its columns; None where it has more or fewer cells than the first line."""
    if len(line) != len(header):
        return None
    return {
        name: _number(cell) if name in NUMBER_COLUMNS else cell
        for name, cell in zip(header, line, strict=True)
        if cell
    }


def _number(cell: str) -> float | str:
    """The number in a cell; text that is none is left to be refused as such."""
    try:
        return float(cell)
    except ValueError:
        return cell
