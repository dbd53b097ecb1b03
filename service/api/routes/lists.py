"""Lists of what there is, page by page: farms, sites with their weather, counties, crops,
controllers.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Response

from service.agronomy.crop_table import CROPS
from service.agronomy.soil import TEXTURE_KEYS
from service.api.access import Right, TheCaller, needs
from service.api.dependencies import SLUG_PATTERN, TheService
from service.api.list_examples import (
    CONTROLLER_PAGE,
    COUNTY_PAGE,
    CROP_PAGE,
    FARM_PAGE,
    SITE_PAGE,
    WEATHER_CSV,
    WEATHER_PAGE,
)
from service.api.negotiation import wants_csv
from service.api.number_examples import SOIL_PAGE
from service.api.paging import ThePages, cut, list_answers
from service.api.schemas.lists import (
    ControllerOut,
    ControllerPageOut,
    CountyPageOut,
    CountySummaryOut,
    CropOut,
    CropPageOut,
    FarmPageOut,
    FarmSummaryOut,
    SiteOut,
    SitePageOut,
)
from service.api.schemas.numbers import SoilOut, SoilPageOut
from service.api.schemas.queries import FarmPageQuery, PageQuery
from service.api.schemas.site_weather import (
    WEATHER_CSV_COLUMNS,
    SiteWeatherPageOut,
    WeatherDaysQuery,
    name_of_day,
    site_weather_days,
    weather_csv_rows,
)
from service.operations.farms.manage_controllers import list_controllers
from service.operations.reading.read_farms import list_counties, list_farms
from service.operations.weather.read_sites import list_sites
from service.operations.weather.read_weather import WeatherWish, read_weather_days

router = APIRouter(tags=["lists"])
ThePage = Annotated[PageQuery, Query()]


@router.get(
    "/farms",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_farms",
    summary="List farms",
    description="The key's farm, or with a key for the region every farm, by id, page by page."
    " Follow `next` until it is null.",
    response_model=FarmPageOut,
    responses=list_answers("A page of farms.", FARM_PAGE),
)
def show_farms(service: TheService, caller: TheCaller, query: ThePage, pages: ThePages) -> Response:
    """A page of the farms that the caller may see."""
    return pages.answer(
        (
            each
            for each in list_farms(unit_of_work=service.unit_of_work)
            if caller.may_see(each.farm_id)
        ),
        query,
        FarmPageOut,
        name_of=lambda each: each.farm_id,
        show=FarmSummaryOut.from_record,
    )


@router.get(
    "/sites",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_sites",
    summary="List sites with their weather",
    description="The sites that the key's farm uses, or with a key for the region all, by id, with"
    " from when to when there is weather, and up to when what was measured. Follow `next` until it"
    " is null.",
    response_model=SitePageOut,
    responses=list_answers("A page of sites.", SITE_PAGE),
)
def show_sites(service: TheService, caller: TheCaller, query: ThePage, pages: ThePages) -> Response:
    """A page of the sites that the caller may see."""
    return pages.answer(
        list_sites(caller.farm_id, unit_of_work=service.unit_of_work, clock=service.clock),
        query,
        SitePageOut,
        name_of=lambda each: each.site.site_id,
        show=SiteOut.from_record,
    )


@router.get(
    "/sites/{site_id}/weather-days",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_weather_days",
    summary="List the weather of a site by day",
    description="Weather as plans made now would use it: each value with its flags, where the given"
    " ones come from (source, measured or forecast, when issued and received), and what the day's"
    " reference ET rests on. Days in the past are replaced when better weather comes, coming ones"
    " with each forecast: ask again with `If-None-Match`. JSON, or a table for `Accept: text/csv`,"
    " with the address of the next page in the header `Link`.",
    response_model=SiteWeatherPageOut,
    responses=list_answers("A page of days.", WEATHER_PAGE, csv_example=WEATHER_CSV),
)
def show_weather_days(
    site_id: Annotated[str, Path(pattern=SLUG_PATTERN, description="Site.", examples=["hill"])],
    service: TheService,
    caller: TheCaller,
    query: Annotated[WeatherDaysQuery, Query()],
    pages: ThePages,
) -> Response:
    """A page of days of a site."""
    days = site_weather_days(
        read_weather_days(
            WeatherWish(site_id, caller.farm_asked(query.farm), query.first_day, query.last_day),
            unit_of_work=service.unit_of_work,
            clock=service.clock,
            source_order=service.source_order,
        )
    )
    if wants_csv(pages.request):
        shown, has_more = cut(days, query, name_of_day)
        rows = weather_csv_rows(shown)
        return pages.table(shown, WEATHER_CSV_COLUMNS, rows, place_of=name_of_day, goes_on=has_more)
    return pages.answer(
        days, query, SiteWeatherPageOut, name_of=name_of_day, show=lambda each: each
    )


@router.get(
    "/counties",
    dependencies=[needs(Right.ADVISER)],
    operation_id="list_counties",
    summary="List counties",
    description="Every county by its code, with the site whose weather is its own, page by page."
    " Follow `next` until it is null.",
    response_model=CountyPageOut,
    responses=list_answers("A page of counties.", COUNTY_PAGE),
)
def show_counties(service: TheService, query: ThePage, pages: ThePages) -> Response:
    """A page of counties."""
    return pages.answer(
        list_counties(unit_of_work=service.unit_of_work),
        query,
        CountyPageOut,
        name_of=lambda each: each.county_code,
        show=CountySummaryOut.from_record,
    )


@router.get(
    "/crops",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_crops",
    summary="List crops",
    description="Every crop by key with the numbers that fill the gaps of a block, and the source"
    " of each, page by page. Follow `next` until it is null.",
    response_model=CropPageOut,
    responses=list_answers("A page of crops.", CROP_PAGE),
)
def show_crops(query: ThePage, pages: ThePages) -> Response:
    """A page of the crop table."""
    return pages.answer(
        CROPS.values(),
        query,
        CropPageOut,
        name_of=lambda each: each.key,
        show=CropOut.from_row,
    )


@router.get(
    "/soils",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_soils",
    summary="List soil textures",
    description="Every soil texture by key with the numbers that it stands for, and their source,"
    " page by page. Follow `next` until it is null.",
    response_model=SoilPageOut,
    responses=list_answers("A page of soil textures.", SOIL_PAGE),
)
def show_soils(query: ThePage, pages: ThePages) -> Response:
    """A page of the textures."""
    return pages.answer(
        sorted(TEXTURE_KEYS),
        query,
        SoilPageOut,
        name_of=str,
        show=SoilOut.from_key,
    )


@router.get(
    "/controllers",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_controllers",
    summary="List controllers",
    description="The controllers of the key's farm, or with a key for the region of every farm, by"
    " id, with the blocks that their channels open; retired ones too. Follow `next` until it is"
    " null.",
    response_model=ControllerPageOut,
    responses=list_answers("A page of controllers.", CONTROLLER_PAGE),
)
def show_controllers(
    service: TheService,
    caller: TheCaller,
    query: Annotated[FarmPageQuery, Query()],
    pages: ThePages,
) -> Response:
    """A page of the controllers that the caller may see."""
    return pages.answer(
        list_controllers(caller.farm_asked(query.farm), unit_of_work=service.unit_of_work),
        query,
        ControllerPageOut,
        name_of=lambda each: each.definition.controller_id,
        show=ControllerOut.from_record,
    )
