"""Farms and blocks: create, change, retire, and export as a farm file."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Annotated, Any, TypeVar

import orjson
from fastapi import APIRouter, Header, Request, Response

from service.api.access import Caller, Right, TheCaller, needs
from service.api.answers import (
    NOT_MODIFIED,
    IfNoneMatch,
    described,
    problems,
    tag_of,
    tagged_response,
)
from service.api.change_examples import BLOCK_TABLE, FARM_CHANGED, FARM_DOCUMENT, FARM_FILE
from service.api.dependencies import BlockId, FarmId, TheService
from service.api.negotiation import form_wanted
from service.api.once import NO_STORE
from service.api.openapi_headers import header_ref
from service.api.problem_types import (
    CONFLICT,
    INVALID_REQUEST,
    MALFORMED_JSON,
    NOT_FOUND,
    PRECONDITION_FAILED,
    PRECONDITION_REQUIRED,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    ProblemType,
)
from service.api.problems import Refused
from service.api.schemas.blocks import BlockOut
from service.api.schemas.bodies import BlockTableIn, FarmDocumentIn
from service.api.schemas.farms import FarmChangeOut, FarmDocumentOut
from service.api.schemas.feedback import CountsOut
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.operations.farms import change_farms
from service.operations.farms.change_farms import FarmChange, Keeper
from service.records.farms import BlockDefinition, FarmBundle

FARM_FILES = ("application/toml", "text/plain")
_BODY: tuple[ProblemType, ...] = (MALFORMED_JSON, TOO_LARGE, UNSUPPORTED_MEDIA_TYPE)
_CREATES = problems(*_BODY, NOT_FOUND, CONFLICT, INVALID_REQUEST)
_PRECONDITIONS: tuple[ProblemType, ...] = (PRECONDITION_FAILED, PRECONDITION_REQUIRED)
_CHANGES = problems(*_BODY, *_PRECONDITIONS, NOT_FOUND, INVALID_REQUEST)
_RETIRES = problems(*_PRECONDITIONS, NOT_FOUND, INVALID_REQUEST)
_DONE: dict[str, Any] = described("What the change did.", FARM_CHANGED)
_DONE["headers"] = {"ETag": header_ref("ETag")}
_RETIRED: dict[str, Any] = {**_DONE, "headers": {"ETag": header_ref("ETagOfWhatIsLeft")}}

Stored = TypeVar("Stored", FarmBundle, BlockDefinition)
IfMatch = Annotated[
    str | None,
    Header(
        alias="If-Match",
        description="ETag of the state that the change starts from, as returned by GET. Required.",
        examples=['"4d2f0e8c1b7a9d3e5f60718293a4b5c6"'],
        json_schema_extra={"pattern": "^[ -~]{1,200}$"},
    ),
]
router = APIRouter(tags=["farms"])


@router.get(
    "/farms/{farm_id}",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_farm",
    summary="Get a farm",
    description="The farm as of today: the tables of its farm file as JSON, every number in SI "
    "with its unit. The same document can be sent back with PUT.",
    response_model=FarmDocumentOut,
    responses={
        200: described("The farm.", FARM_DOCUMENT, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_farm(farm_id: FarmId, service: TheService, if_none_match: IfNoneMatch = None) -> Response:
    """The document, or 304 if the caller already has it."""
    bundle = change_farms.get_farm_now(
        farm_id, unit_of_work=service.unit_of_work, clock=service.clock
    )
    return tagged_response(
        _farm_bytes(service, bundle), if_none_match, media_type="application/json"
    )


@router.get(
    "/farms/{farm_id}/file",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="export_farm",
    summary="Export a farm file",
    description="The farm as a farm file (TOML) that loads to the same state; the same text as "
    "`text/plain` for callers that know no TOML. Pauses and mail recipients are not part of it: "
    "they stay as they are.",
    response_class=Response,
    responses={
        200: {
            "description": "The file.",
            "content": {
                form: {"schema": {"type": "string"}, "example": FARM_FILE} for form in FARM_FILES
            },
            "headers": NOT_MODIFIED[304]["headers"],
        },
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def export_farm(
    farm_id: FarmId, request: Request, service: TheService, if_none_match: IfNoneMatch = None
) -> Response:
    """The file, or 304 if the caller already has it."""
    bundle = change_farms.get_farm_now(
        farm_id, unit_of_work=service.unit_of_work, clock=service.clock
    )
    return tagged_response(
        service.farm_format.text(bundle).encode(),
        if_none_match,
        media_type=form_wanted(request, FARM_FILES),
    )


@router.post(
    "/farms",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="create_farm",
    summary="Create a farm",
    description="A new farm under the id that the key is bound to. The document is checked by the "
    "rules of the farm file; an invalid one is refused as a whole, with every fault "
    "and its place.",
    status_code=201,
    responses={201: _DONE, **_CREATES},
    openapi_extra={"requestBody": {"content": {"application/json": {"example": FARM_DOCUMENT}}}},
)
def create_farm(
    body: FarmDocumentIn, response: Response, service: TheService, caller: TheCaller
) -> FarmChangeOut:
    """Store a new farm."""
    created = _farm_changed(
        service,
        response,
        lambda unit: change_farms.create_farm(unit, _document(body), _keeper(service, caller)),
    )
    response.headers["Location"] = f"/v1/farms/{created.farm_id}"
    return created


@router.put(
    "/farms/{farm_id}",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="replace_farm",
    summary="Change a farm",
    description="The document replaces the farm; blocks that are not in it are retired from "
    "today, changed ones get a new version. Plans are updated before the answer.",
    responses={200: _DONE, **_CHANGES},
    openapi_extra={"requestBody": {"content": {"application/json": {"example": FARM_DOCUMENT}}}},
)
def replace_farm(
    farm_id: FarmId,
    body: FarmDocumentIn,
    response: Response,
    *,
    service: TheService,
    caller: TheCaller,
    if_match: IfMatch = None,
) -> FarmChangeOut:
    """Replace a farm."""
    is_current = _matcher(if_match, partial(_farm_bytes, service))
    return _farm_changed(
        service,
        response,
        lambda unit: change_farms.replace_farm(
            unit, farm_id, _document(body), _keeper(service, caller), is_current=is_current
        ),
    )


@router.delete(
    "/farms/{farm_id}",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="retire_farm",
    summary="Retire a farm",
    description="All its blocks, supplies and controllers are retired from today. Their history "
    "is kept.",
    responses={200: _RETIRED, **_RETIRES},
)
def retire_farm(
    farm_id: FarmId,
    response: Response,
    service: TheService,
    caller: TheCaller,
    if_match: IfMatch = None,
) -> FarmChangeOut:
    """Retire a farm."""
    is_current = _matcher(if_match, partial(_farm_bytes, service))
    return _farm_changed(
        service,
        response,
        lambda unit: change_farms.retire_farm(
            unit, farm_id, _keeper(service, caller), is_current=is_current
        ),
    )


@router.post(
    "/farms/{farm_id}/blocks",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="create_block",
    summary="Create a block",
    description="Add a block, given as its table in a farm file; its supply and site must belong "
    "to the farm. If tomorrow is already planned, the block is planned too before the "
    "answer.",
    status_code=201,
    responses={201: _DONE, **_CREATES},
    openapi_extra={"requestBody": {"content": {"application/json": {"example": BLOCK_TABLE}}}},
)
def create_block(
    farm_id: FarmId,
    body: BlockTableIn,
    response: Response,
    service: TheService,
    caller: TheCaller,
) -> FarmChangeOut:
    """Add a block."""
    table = body.model_dump()
    block_id = f"{farm_id}.{table.get('id')}"
    created = _block_changed(
        service,
        response,
        block_id,
        lambda unit: change_farms.create_block(unit, farm_id, table, _keeper(service, caller)),
    )
    response.headers["Location"] = f"/v1/blocks/{block_id}"
    return created


@router.put(
    "/blocks/{block_id}",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="replace_block",
    summary="Change a block",
    description="The table replaces the block from today: what it leaves out gets the default "
    "again. `GET /v1/farms/{farm_id}` returns the current table; the ETag is that of "
    "`GET /v1/blocks/{block_id}`. Plans are updated before the answer.",
    responses={200: _DONE, **_CHANGES},
    openapi_extra={"requestBody": {"content": {"application/json": {"example": BLOCK_TABLE}}}},
)
def replace_block(
    block_id: BlockId,
    body: BlockTableIn,
    response: Response,
    *,
    service: TheService,
    caller: TheCaller,
    if_match: IfMatch = None,
) -> FarmChangeOut:
    """Replace a block."""
    is_current = _matcher(if_match, block_bytes)
    return _block_changed(
        service,
        response,
        block_id,
        lambda unit: change_farms.replace_block(
            unit, block_id, body.model_dump(), _keeper(service, caller), is_current=is_current
        ),
    )


@router.delete(
    "/blocks/{block_id}",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="retire_block",
    summary="Retire a block",
    description="The block and its channel are retired from today. Their history is kept.",
    responses={200: _RETIRED, **_RETIRES},
)
def retire_block(
    block_id: BlockId,
    response: Response,
    service: TheService,
    caller: TheCaller,
    if_match: IfMatch = None,
) -> FarmChangeOut:
    """Retire a block."""
    is_current = _matcher(if_match, block_bytes)
    return _block_changed(
        service,
        response,
        block_id,
        lambda unit: change_farms.retire_block(
            unit, block_id, _keeper(service, caller), is_current=is_current
        ),
    )


# --- parts ---------------------------------------------------------------------------------------


def block_bytes(block: BlockDefinition) -> bytes:
    """A block as GET returns it; its ETag is the tag of these bytes."""
    return BlockOut.from_record(block).model_dump_json().encode()


def _farm_bytes(service: Service, bundle: FarmBundle) -> bytes:
    return orjson.dumps(service.farm_format.document(bundle))


def _matcher(if_match: str | None, bytes_of: Callable[[Stored], bytes]) -> Callable[[Stored], bool]:
    """A check that the caller's If-Match fits what is stored; refuses a caller without one.

    By strong comparison, so weak tags never match.
    """
    if if_match is None or not if_match.strip():
        raise Refused(PRECONDITION_REQUIRED)
    held = frozenset(tag.strip() for tag in if_match.split(","))
    return lambda stored: "*" in held or tag_of(bytes_of(stored)) in held


def _document(body: FarmDocumentIn) -> dict[str, object]:
    return {key: value for key, value in body.model_dump().items() if value != []}


def _keeper(service: Service, caller: Caller) -> Keeper:
    return Keeper(service.farm_format, service.replanning, caller.farm_id)


def _farm_changed(
    service: Service, response: Response, work: Callable[[UnitOfWork], FarmChange]
) -> FarmChangeOut:
    change = _changed(service, response, work)
    response.headers["ETag"] = tag_of(_farm_bytes(service, change.bundle))
    return _summary(change)


def _block_changed(
    service: Service, response: Response, block_id: str, work: Callable[[UnitOfWork], FarmChange]
) -> FarmChangeOut:
    change = _changed(service, response, work)
    for block in change.bundle.blocks:
        if block.block_id == block_id:
            response.headers["ETag"] = tag_of(block_bytes(block))
    return _summary(change)


def _changed(
    service: Service, response: Response, work: Callable[[UnitOfWork], FarmChange]
) -> FarmChange:
    with service.unit_of_work(write=True) as unit:
        change = work(unit)
    response.headers.update(NO_STORE)
    return change


def _summary(change: FarmChange) -> FarmChangeOut:
    return FarmChangeOut(
        farm_id="" if change.bundle.farm is None else change.bundle.farm.farm_id,
        counts=CountsOut.from_outcome(change.outcome, change.new_version_count),
        retired_count=change.outcome.retired_count,
        questions=list(change.questions),
    )
