"""What each tool does: one operation of the service, shown in the schemas of the API."""

from __future__ import annotations

from service.agent_tools.arguments import (
    BalanceAsked,
    BlocksAsked,
    BlocksOut,
    CountiesAsked,
    CountyRankingOut,
    FarmPlansAsked,
    PlanAsked,
    RainReported,
)
from service.agent_tools.asking import Desk, who_asks
from service.api.access import check_own
from service.api.county_need import county_need, reference_asked
from service.api.once import reporter_of
from service.api.problems import reported_as
from service.api.rain_report import book_rain
from service.api.schemas.balances import BalanceOut
from service.api.schemas.blocks import BlockSummaryOut
from service.api.schemas.bodies import RunIn
from service.api.schemas.counties import CountyWeekOut
from service.api.schemas.explanations import ExplanationOut
from service.api.schemas.feedback import RainOut, RunsOut
from service.api.schemas.plans import FarmPlansOut, PlanOut
from service.api.schemas.queries import LARGEST_PAGE_SIZE
from service.errors import PlanNotFound
from service.operations.evening.plan_texts import read_plan_text
from service.operations.farms.change_farms import list_blocks_now
from service.operations.feedback.report_runs import report_runs
from service.operations.reading import read_plans
from service.operations.reading.read_balance import read_balance


def list_blocks(desk: Desk, asked: BlocksAsked) -> BlocksOut:
    """Blocks in use today, by id."""
    service = desk.service
    found = list_blocks_now(
        who_asks().farm_asked(asked.farm_id),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    rest = sorted(
        (each for each in found if each.block_id > asked.after), key=lambda each: each.block_id
    )
    shown = [BlockSummaryOut.from_record(each) for each in rest[:LARGEST_PAGE_SIZE]]
    has_more = len(rest) > LARGEST_PAGE_SIZE
    return BlocksOut(items=shown, next_after=shown[-1].block_id if has_more else None)


def get_plan(desk: Desk, asked: PlanAsked) -> PlanOut:
    """A block's plan."""
    service = desk.service
    check_own(service, who_asks(), "block_id", asked.block_id)
    text = read_plan_text(asked.block_id, day=asked.day, unit_of_work=service.unit_of_work)
    return PlanOut.model_validate_json(text.text)


def list_plans(desk: Desk, asked: FarmPlansAsked) -> FarmPlansOut:
    """The plans of a farm's blocks for a day, in brief."""
    service = desk.service
    check_own(service, who_asks(), "farm_id", asked.farm_id)
    views = read_plans.list_plans(
        day=asked.day, farm_id=asked.farm_id, unit_of_work=service.unit_of_work
    )
    if not views:
        raise PlanNotFound(f"no plan of farm {asked.farm_id} for {asked.day or 'any day'}")
    return FarmPlansOut.from_views(asked.farm_id, views)


def explain_plan(desk: Desk, asked: PlanAsked) -> ExplanationOut:
    """The reasoning behind a plan."""
    service = desk.service
    check_own(service, who_asks(), "block_id", asked.block_id)
    return ExplanationOut.from_record(
        read_plans.explain(asked.block_id, day=asked.day, unit_of_work=service.unit_of_work)
    )


def get_balance(desk: Desk, asked: BalanceAsked) -> BalanceOut:
    """The ledger of a block."""
    service, block_id = desk.service, asked.block_id
    check_own(service, who_asks(), "block_id", block_id)
    with reported_as({"to": "last_day"}):
        balance = read_balance(
            block_id,
            first_day=asked.first_day,
            last_day=asked.last_day,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    return BalanceOut.from_record(balance)


def compare_counties(desk: Desk, asked: CountiesAsked) -> CountyRankingOut:
    """The counties with the largest need of each week."""
    service = desk.service
    need = county_need(desk.counties, service, asked, reference_asked(service, asked, who_asks()))
    ranked = sorted(need.items, key=_by_need)
    of_week: dict[str, list[CountyWeekOut]] = {}
    for row in ranked:
        of_week.setdefault(row.week, []).append(row)
    return CountyRankingOut(
        issued_at=need.issued_at,
        reference=need.reference,
        items=[row for rows in of_week.values() for row in rows[: asked.most]],
        county_count=max(map(len, of_week.values()), default=0),
    )


def _by_need(row: CountyWeekOut) -> tuple[str, bool, int, str]:
    """Week by week the largest need first, and what is not known last."""
    return row.week, row.rank is None, row.rank or 0, row.county_code


def report_run(desk: Desk, run: RunIn) -> RunsOut:
    """Store a run that took place, and plan again after it."""
    service, caller = desk.service, who_asks()
    check_own(service, caller, "block_id", run.block_id)
    places = {f"/items/0/{name}": name for name in RunIn.model_fields}
    with service.unit_of_work(write=True) as unit, reported_as(places):
        return RunsOut.from_record(
            report_runs(
                unit,
                [run.report()],
                farm_id=caller.farm_id,
                reporter=reporter_of(caller),
                replanning=service.replanning,
            )
        )


def record_rain(desk: Desk, reading: RainReported) -> RainOut:
    """Store a rain gauge reading, and plan again after it."""
    service, caller = desk.service, who_asks()
    check_own(service, caller, "site_id", reading.site_id)
    with service.unit_of_work(write=True) as unit, reported_as({"/rain_mm": "rain_mm"}):
        return book_rain(unit, reading.site_id, reading, caller=caller, service=service)
