"""Runs of a farm as they were reported: listed, undone, and many from a file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC
from typing import Annotated, Final

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.concurrency import run_in_threadpool

from service.api.access import Caller, Right, TheCaller, needs
from service.api.answers import SHEET_WORDS, described, problems
from service.api.cursors import moment_name
from service.api.dependencies import BlockId, FarmId, TheService
from service.api.feed_examples import (
    RUN_FEED_CSV,
    RUN_FILE_CSV,
    RUN_FILE_DONE,
    RUN_PAGE,
    RUN_UNDONE,
)
from service.api.negotiation import CSV, SHEETS, form_wanted
from service.api.once import TheOnce, answered_once, reporter_of
from service.api.paging import ThePages, list_answers
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.bodies import Instant
from service.api.schemas.feedback import RunFileOut, RunUndoneOut
from service.api.schemas.queries import RunFileQuery, RunQuery
from service.api.schemas.region_runs import (
    RUN_CSV_COLUMNS,
    RegionRunOut,
    RunPageOut,
    run_csv_row,
)
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.delivery.table_file import XLSX_TYPE
from service.errors import Fault, InputInvalid
from service.operations.exports.run_tables import run_table
from service.operations.feedback.import_runs import import_runs
from service.operations.feedback.revise_runs import RunsWish, list_reported, undo_run
from service.operations.reading.read_farms import local_day
from service.records.export import ExportTable
from service.records.feeds import RunEntry

router = APIRouter(tags=["feedback"])
RUN_FILES_PATH: Final = "/v1/run-files"
_NAME = "runs"
_LINE = re.compile(rf"{_NAME}(?:: line (\d+))?(?:[:,] column (\w+))?")
StartedAt = Annotated[
    Instant,
    Path(
        description="Start of the run as it was reported, with its offset.",
        examples=["2026-07-14T08:00:00Z"],
    ),
]


@router.get(
    "/farms/{farm_id}/runs",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_farm_runs",
    summary="List a farm's reported runs",
    description="The latest start first, page by page: follow `next` until it is null. Runs that"
    " were undone are not among them. JSON, or a table for `Accept: text/csv`, or a spreadsheet,"
    " both with the address of the next page in the header `Link`.",
    response_model=RunPageOut,
    response_model_exclude_none=False,
    responses=list_answers(
        "A page of runs.", RUN_PAGE, csv_example=RUN_FEED_CSV, is_spreadsheet=True
    ),
)
def list_farm_runs(
    farm_id: FarmId, service: TheService, query: Annotated[RunQuery, Query()], pages: ThePages
) -> Response:
    """A page of runs, or 304 if the caller already has it."""
    found = list_reported(
        RunsWish(
            farm_id, query.block, query.first_day, query.last_day, query.before, count=query.size
        ),
        unit_of_work=service.unit_of_work,
    )
    form = form_wanted(pages.request, SHEETS)
    if form == XLSX_TYPE:
        table = _table_of(found.runs, farm_id, query, service)
        return pages.sheet(found.runs, table, place_of=_place_of, goes_on=found.has_more)
    if form == CSV:
        rows = map(run_csv_row, found.runs)
        return pages.table(
            found.runs, RUN_CSV_COLUMNS, rows, place_of=_place_of, goes_on=found.has_more
        )
    return pages.page(
        found.runs,
        RunPageOut,
        place_of=_place_of,
        show=RegionRunOut.from_entry,
        has_more=found.has_more,
    )


@router.delete(
    "/blocks/{block_id}/runs/{started_at}",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="remove_run",
    summary="Undo a reported run",
    description="The run counts as never reported: its day is taken from the block's other runs, or"
    " from the plan. Balances and plans are updated before the answer. Undoing again changes"
    " nothing; reporting the run again brings it back. To correct a run, report it again.",
    responses={
        200: described("The run is undone.", RUN_UNDONE),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def undo_reported_run(
    block_id: BlockId, started_at: StartedAt, service: TheService
) -> RunUndoneOut:
    """Undo one."""
    with service.unit_of_work(write=True) as unit:
        done = undo_run(unit, block_id, started_at, replanning=service.replanning)
    return RunUndoneOut(
        block_id=block_id,
        started_at=started_at.astimezone(UTC),
        new_plan_count=done.new_version_count,
    )


@router.post(
    "/run-files",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="report_run_file",
    summary="Report runs from a file",
    description="Up to 10,000 runs as CSV. The first line names the columns, with units: `block`;"
    " `start`, or `date` and `time`; one of `duration_min`, `duration_h` and `end`; one of"
    " `volume_l`, `volume_gal` and `volume_m3`, as metered; or one of `depth_mm` and `depth_in`,"
    " gross, in place of minutes. Times without an offset are on the clock of the block's site. A"
    " line with a volume alone gets the minutes of the emitters' flow. All runs are stored, or"
    " none; one that is on file already changes nothing, and another amount corrects it.",
    response_model=RunFileOut,
    responses={200: described("What was stored.", RUN_FILE_DONE), **problems(*REPORT_PROBLEMS)},
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"text/csv": {"schema": {"type": "string"}, "example": RUN_FILE_CSV}},
        }
    },
)
async def report_run_file(
    request: Request,
    service: TheService,
    caller: TheCaller,
    once: TheOnce,
    query: Annotated[RunFileQuery, Query()],
) -> Response:
    """Store the runs once."""
    content = await request.body()
    return await run_in_threadpool(
        lambda: answered_once(
            once, lambda unit: _import(unit, content, query, service, caller), service
        )
    )


def _import(
    unit: UnitOfWork, content: bytes, query: RunFileQuery, service: Service, caller: Caller
) -> RunFileOut:
    farm_id = caller.farm_asked(query.farm)
    if farm_id is None:
        fault = Fault("query parameter farm", "nothing", "the farm whose blocks ran")
        raise InputInvalid("no farm is named", [fault])
    try:
        done = import_runs(
            unit,
            service.farm_format.runs(content, name=_NAME),
            farm_id=farm_id,
            block_id=query.block,
            reporter=reporter_of(caller),
            replanning=service.replanning,
        )
    except InputInvalid as error:
        faults = [replace(each, where=_pointer(each.where)) for each in error.faults]
        raise InputInvalid(error.message, faults) from error
    return RunFileOut.of_file(done)


def _pointer(where: str) -> str:
    """The place of a fault in the file, ``runs: line 3, column start``, as ``/lines/3/start``."""
    found = _LINE.fullmatch(where)
    line, column = (None, None) if found is None else found.groups()
    return "".join(f"/{part}" for part in (f"lines/{line}" if line else "", column) if part)


def _table_of(
    runs: Sequence[RunEntry], farm_id: str, query: RunQuery, service: Service
) -> ExportTable:
    """Runs as the pages save them, in English and SI units."""
    with service.unit_of_work(write=False) as unit:
        farm = unit.blocks.get_farm(farm_id)
        today = local_day(service.clock.now(), farm.zone)
        blocks = unit.blocks.list_blocks(farm_id=farm_id, day=today)
    return run_table(
        runs,
        farm,
        SHEET_WORDS,
        block_names={each.block_id: each.name for each in blocks},
        span=(query.first_day, query.last_day),
    )


def _place_of(entry: RunEntry) -> str:
    return moment_name(entry.started_at, entry.run_key)
