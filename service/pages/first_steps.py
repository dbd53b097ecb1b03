"""Two steps of setting up that come after the blocks: how wet the soil is, and the weather."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.responses import Response

from service.attributions import ATTRIBUTIONS
from service.errors import Fault, InputInvalid
from service.farm_files.weather_columns import COLUMN_NAMES
from service.farm_files.weather_file import parse_weather
from service.operations.access.manage_keys import Right
from service.operations.reading.read_farms import local_day
from service.operations.weather.import_weather import import_weather
from service.operations.weather.read_sites import list_sites_of_one_farm
from service.pages.plans import farm_of
from service.pages.set_up_steps import Step, next_address, set_up_of
from service.pages.setup import farm_now
from service.pages.soil_form import (
    ANSWER,
    SHARE,
    entered_wetness,
    store_share,
    wetness_choices,
)
from service.pages.visit import Visit, redirect
from service.records.farms import FarmDefinition, SiteDefinition
from service.translations.catalogue import marked

_FILE, _SITE = "weather_file", "site"
_SOURCE = "import"


@dataclass(frozen=True, slots=True)
class BlockFields:
    """The question of one block, and the names of its fields."""

    name: str
    answer: str
    share: str


# --- how wet the soil is -------------------------------------------------------------------------


def soil_now(visit: Visit) -> Response:
    """How wet the soil of each block is, asked or stored; what is left open is taken as full."""
    farm = farm_of(visit, Right.FARM_WRITE)
    blocks = farm_now(visit, farm.farm_id).blocks
    endings = {block.block_id: f"-{block.block_id.partition('.')[2]}" for block in blocks}
    faults: dict[str, Fault] = {}
    shares: dict[str, float] = {}
    for block_id, ending in endings.items():
        try:
            share = entered_wetness(visit.form, ending)
        except InputInvalid as error:
            faults |= {fault.where: fault for fault in error.faults}
            continue
        if share is not None:
            shares[block_id] = share
    if visit.form and not faults:
        with visit.service.unit_of_work(write=True) as unit:
            for block_id, share in shares.items():
                store_share(visit, unit, block_id, share, read_at=visit.service.clock.now())
        onward = next_address(visit, farm, Step.SOIL) or f"/farms/{farm.farm_id}/tomorrow"
        return redirect(onward, done="stored")
    return visit.show(
        "soil_now.html",
        status=422 if faults else 200,
        farm=farm,
        set_up=set_up_of(visit, farm, Step.SOIL),
        blocks=[
            BlockFields(block.name, f"{ANSWER}{ending}", f"{SHARE}{ending}")
            for block, ending in zip(blocks, endings.values(), strict=True)
        ],
        choices=wetness_choices(visit.words),
        form=visit.form,
        faults=faults,
    )


# --- the weather ---------------------------------------------------------------------------------


def show_first_weather(visit: Visit) -> Response:
    """Which weather services are switched on, and the form for a file of one's own."""
    farm = farm_of(visit, Right.FARM_WRITE)
    return _weather_page(visit, farm, _own_sites(visit, farm))


def upload_weather(visit: Visit) -> Response:
    """A weather file stored, or all that is wrong with it; nothing of it is stored then."""
    farm = farm_of(visit, Right.FARM_WRITE)
    sites = _own_sites(visit, farm)
    sent = visit.files.get(_FILE)
    site = next((each for each in sites if each.site_id == visit.form.get(_SITE)), None)
    if sent is None:
        allowed = marked("a file, as described above")
        return _weather_page(visit, farm, sites, {_FILE: Fault(_FILE, "", allowed)})
    if site is None:
        allowed = marked("one of the places offered")
        fault = Fault(_SITE, visit.form.get(_SITE, "")[:40], allowed)
        return _weather_page(visit, farm, sites, {_SITE: fault})
    try:
        read = parse_weather(sent.content, name=sent.name[:80])
        import_weather(
            site.site_id,
            read.days,
            read.fields,
            source=_SOURCE,
            forecast_from=local_day(visit.service.clock.now(), site.zone),
            unit_of_work=visit.service.unit_of_work,
            clock=visit.service.clock,
        )
    except InputInvalid as error:
        return _weather_page(visit, farm, sites, file_faults=error.faults)
    return redirect(f"/farms/{farm.farm_id}/{Step.WEATHER}", done="stored")


def _weather_page(
    visit: Visit,
    farm: FarmDefinition,
    sites: tuple[SiteDefinition, ...],
    faults: dict[str, Fault] | None = None,
    file_faults: tuple[Fault, ...] = (),
) -> Response:
    return visit.show(
        "first_weather.html",
        status=422 if faults or file_faults else 200,
        farm=farm,
        set_up=set_up_of(visit, farm, Step.WEATHER),
        services=[ATTRIBUTIONS[name] for name in visit.service.refreshers if name in ATTRIBUTIONS],
        sites=[(each.site_id, each.name) for each in sites],
        columns=COLUMN_NAMES,
        form=visit.form,
        faults=faults or {},
        file_faults=file_faults,
        done=visit.query.get("done", ""),
    )


def _own_sites(visit: Visit, farm: FarmDefinition) -> tuple[SiteDefinition, ...]:
    """Those whose weather this farm may bring, as nobody else's plans rest on it."""
    return list_sites_of_one_farm(farm.farm_id, unit_of_work=visit.service.unit_of_work)
