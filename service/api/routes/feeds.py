"""Plans and runs of all farms that a key may see, page by page and then what is new."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from service.api.access import Caller, Right, TheCaller, needs
from service.api.dependencies import TheService
from service.api.feed_examples import PLAN_FEED, PLAN_FEED_CSV, RUN_FEED, RUN_FEED_CSV
from service.api.negotiation import wants_csv
from service.api.paging import ThePages, list_answers
from service.api.schemas.plans import (
    PLAN_CSV_COLUMNS,
    RegionPlanOut,
    RegionPlansOut,
    plan_csv_rows,
)
from service.api.schemas.queries import FeedQuery
from service.api.schemas.region_runs import (
    RUN_CSV_COLUMNS,
    RegionRunOut,
    RegionRunsOut,
    run_csv_row,
)
from service.operations.reading.follow_farms import follow_plans, follow_runs
from service.records.feeds import FeedWish, PlanEntry, RunEntry

router = APIRouter()
TheFeed = Annotated[FeedQuery, Query()]
_HOW = (
    " Of the key's farm, or with a key for the region of every farm. While `has_more`, ask `next`"
    " at once; then keep `next` and ask it again later for what is new. Filters by farm, county and"
    " local day stay the same from page to page. JSON, or a table for `Accept: text/csv`, with the"
    " address of what follows in the header `Link`."
)


@router.get(
    "/plans",
    tags=["plans"],
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="follow_plans",
    summary="Follow the plans of all farms",
    description="Plans in force, in brief, in the order in which they were published: first all,"
    " then what is new. A plan that replaces another comes again with a higher `version`; block and"
    " day name what it replaces." + _HOW,
    response_model=RegionPlansOut,
    responses=list_answers("Plans.", PLAN_FEED, csv_example=PLAN_FEED_CSV),
)
def show_plans(service: TheService, caller: TheCaller, query: TheFeed, pages: ThePages) -> Response:
    """The plans after the one that the cursor names."""
    found = follow_plans(
        _wish(query, caller),
        after=query.after_key or 0,
        count=query.size,
        unit_of_work=service.unit_of_work,
    )
    if wants_csv(pages.request):
        shown = (RegionPlanOut.from_entry(each) for each in found.entries)
        rows = (row for plan in shown for row in plan_csv_rows(plan, plan.day))
        return pages.table(found.entries, PLAN_CSV_COLUMNS, rows, place_of=_place_of_plan)
    return pages.feed(
        found.entries,
        RegionPlansOut,
        place_of=_place_of_plan,
        show=RegionPlanOut.from_entry,
        has_more=found.has_more,
    )


@router.get(
    "/runs",
    tags=["feedback"],
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="follow_runs",
    summary="Follow the runs of all farms",
    description="Reported runs, in the order in which they were reported: first all, then what is"
    " new. A run that is corrected comes again with its new minutes, one that is undone with"
    " none; block and start name it." + _HOW,
    response_model=RegionRunsOut,
    responses=list_answers("Runs.", RUN_FEED, csv_example=RUN_FEED_CSV),
)
def show_runs(service: TheService, caller: TheCaller, query: TheFeed, pages: ThePages) -> Response:
    """The runs after the one that the cursor names."""
    found = follow_runs(
        _wish(query, caller),
        after=query.after_pair,
        count=query.size,
        unit_of_work=service.unit_of_work,
    )
    if wants_csv(pages.request):
        rows = map(run_csv_row, found.entries)
        return pages.table(found.entries, RUN_CSV_COLUMNS, rows, place_of=_place_of_run)
    return pages.feed(
        found.entries,
        RegionRunsOut,
        place_of=_place_of_run,
        show=RegionRunOut.from_entry,
        has_more=found.has_more,
    )


def _wish(query: FeedQuery, caller: Caller) -> FeedWish:
    return FeedWish(
        farm_id=caller.farm_asked(query.farm),
        county_codes=query.county,
        first_day=query.first_day,
        last_day=query.last_day,
    )


def _place_of_plan(entry: PlanEntry) -> str:
    return str(entry.plan_key)


def _place_of_run(entry: RunEntry) -> str:
    return f"{entry.change_count}.{entry.run_key}"
