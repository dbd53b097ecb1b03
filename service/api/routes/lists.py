"""Lists of what there is, page by page: farms, sites with their weather, counties, crops."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from service.agronomy.crop_table import CROPS
from service.api.access import Right, TheCaller, needs
from service.api.answers import NOT_MODIFIED, IfNoneMatch, conditional_response, described, problems
from service.api.dependencies import TheService
from service.api.list_examples import COUNTY_PAGE, CROP_PAGE, FARM_PAGE, SITE_PAGE
from service.api.paging import page_of
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.lists import (
    CountyPageOut,
    CountySummaryOut,
    CropOut,
    CropPageOut,
    FarmPageOut,
    FarmSummaryOut,
    SiteOut,
    SitePageOut,
)
from service.api.schemas.queries import PageQuery
from service.operations.reading.read_farms import list_counties, list_farms
from service.operations.reading.read_sites import list_sites

router = APIRouter(tags=["lists"])
ThePage = Annotated[PageQuery, Query()]


def _answers(what: str, example: dict[str, Any]) -> dict[int | str, dict[str, Any]]:
    return {
        200: described(what, example, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    }


@router.get(
    "/farms",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_farms",
    summary="List farms",
    description="The key's farm, or with a key for the region every farm, by id, page by page."
    " Follow `next` until it is absent.",
    response_model=FarmPageOut,
    responses=_answers("A page of farms.", FARM_PAGE),
)
def show_farms(
    request: Request,
    service: TheService,
    caller: TheCaller,
    query: ThePage,
    if_none_match: IfNoneMatch = None,
) -> Response:
    """A page of the farms that the caller may see."""
    farms = list_farms(unit_of_work=service.unit_of_work)
    seen = [each for each in farms if caller.may_see(each.farm_id)]
    seen.sort(key=lambda each: each.farm_id)  # as cursors compare, not the database
    page, following = page_of(seen, query, request, lambda each: each.farm_id)
    items = [FarmSummaryOut.from_record(each) for each in page]
    return conditional_response(FarmPageOut(items=items, next=following), if_none_match)


@router.get(
    "/sites",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_sites",
    summary="List sites with their weather",
    description="The sites that the key's farm uses, or with a key for the region all, by id, with"
    " from when to when there is weather. Follow `next` until it is absent.",
    response_model=SitePageOut,
    responses=_answers("A page of sites.", SITE_PAGE),
)
def show_sites(
    request: Request,
    service: TheService,
    caller: TheCaller,
    query: ThePage,
    if_none_match: IfNoneMatch = None,
) -> Response:
    """A page of the sites that the caller may see."""
    sites = list_sites(caller.farm_id, unit_of_work=service.unit_of_work)
    page, following = page_of(sites, query, request, lambda each: each.site.site_id)
    items = [SiteOut.from_record(each) for each in page]
    return conditional_response(SitePageOut(items=items, next=following), if_none_match)


@router.get(
    "/counties",
    dependencies=[needs(Right.ADVISER)],
    operation_id="list_counties",
    summary="List counties",
    description="Every county by its code, with the site whose weather is its own, page by page."
    " Follow `next` until it is absent.",
    response_model=CountyPageOut,
    responses=_answers("A page of counties.", COUNTY_PAGE),
)
def show_counties(
    request: Request, service: TheService, query: ThePage, if_none_match: IfNoneMatch = None
) -> Response:
    """A page of counties."""
    counties = list_counties(unit_of_work=service.unit_of_work)
    counties.sort(key=lambda each: each.county_code)  # as cursors compare, not the database
    page, following = page_of(counties, query, request, lambda each: each.county_code)
    items = [CountySummaryOut.from_record(each) for each in page]
    return conditional_response(CountyPageOut(items=items, next=following), if_none_match)


@router.get(
    "/crops",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_crops",
    summary="List crops",
    description="Every crop by key with the numbers that fill the gaps of a block, and the source"
    " of each, page by page. Follow `next` until it is absent.",
    response_model=CropPageOut,
    responses=_answers("A page of crops.", CROP_PAGE),
)
def show_crops(request: Request, query: ThePage, if_none_match: IfNoneMatch = None) -> Response:
    """A page of the crop table."""
    crops = [CROPS[key] for key in sorted(CROPS)]
    page, following = page_of(crops, query, request, lambda each: each.key)
    items = [CropOut.from_row(each) for each in page]
    return conditional_response(CropPageOut(items=items, next=following), if_none_match)
