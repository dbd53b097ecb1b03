"""Tables that pages offer as files: CSV and a spreadsheet, in the reader's language and units."""

from __future__ import annotations

from starlette.responses import Response

from service.delivery.table_file import CSV_TYPE, XLSX_TYPE, csv_file, xlsx_file
from service.errors import NotFound
from service.operations.access.manage_keys import Right
from service.operations.exports.run_tables import plan_table, run_table
from service.operations.exports.water_tables import balance_table
from service.operations.feedback.revise_runs import list_reported
from service.operations.reading.read_balance import read_balance
from service.operations.reading.read_farms import local_day
from service.operations.reading.read_plans import list_plans
from service.pages.plans import asked_day, bundle_of, farm_of, parsed_day
from service.pages.run_list import MOST_RUNS, wish_of
from service.pages.visit import Visit
from service.records.export import ExportTable
from service.records.farms import FarmDefinition

_KINDS = {"csv": (CSV_TYPE, csv_file), "xlsx": (XLSX_TYPE, xlsx_file)}


def file_answer(visit: Visit, table: ExportTable, *, ending: str = "") -> Response:
    """The table as the file that the address asks for by its ending; raises NotFound."""
    ending = ending or visit.params.get("ending", "")
    if ending not in _KINDS:
        raise NotFound("there is nothing under this address")
    media_type, written = _KINDS[ending]
    return Response(
        written(table),
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{table.name}.{ending}"'},
    )


def balance_file(visit: Visit) -> Response:
    """A block's balance by day."""
    farm = farm_of(visit)
    balance = read_balance(
        visit.params["block_id"],
        first_day=parsed_day(visit.query.get("from", "")),
        last_day=parsed_day(visit.query.get("to", "")),
        unit_of_work=visit.service.unit_of_work,
        clock=visit.service.clock,
    )
    return file_answer(visit, balance_table(balance, farm, visit.words))


def plan_file(visit: Visit) -> Response:
    """The plans of a day: the one asked for, else the latest."""
    farm = farm_of(visit)
    views = list_plans(
        day=asked_day(visit), farm_id=farm.farm_id, unit_of_work=visit.service.unit_of_work
    )
    return file_answer(visit, plan_table(views, farm, visit.words))


def run_file(visit: Visit) -> Response:
    """Reported runs, as the page lists them."""
    farm = farm_of(visit)
    wish = wish_of(visit, farm, count=MOST_RUNS)
    found = list_reported(wish, unit_of_work=visit.service.unit_of_work)
    table = run_table(
        found.runs,
        farm,
        visit.words,
        block_names=block_names(visit, farm),
        span=(wish.first_day, wish.last_day),
    )
    return file_answer(visit, table)


def block_names(visit: Visit, farm: FarmDefinition) -> dict[str, str]:
    """Names of the farm's blocks today, by id."""
    visit.need(Right.PLAN_READ, farm.farm_id)
    today = local_day(visit.service.clock.now(), farm.zone)
    return {block.block_id: block.name for block in bundle_of(visit, farm, today).blocks}
