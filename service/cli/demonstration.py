"""``rillwright demo``: from weather to plan on an invented farm.

Everything it loads is invented (see :mod:`service.demo_farm`). The clock is stopped at the
demonstration's evening, so that the result is the same on any day and a second run changes nothing.
It refuses a database that holds other farms.
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from rich.text import Text

from service.agronomy.civil_day import ONE_DAY
from service.bootstrap import Service, migrate_database
from service.cli.demo_clock import StandingClock
from service.cli.demo_forecasts import bring_forecasts
from service.cli.demo_reports import bring_reports, set_first_program
from service.cli.housekeeping import shown_database
from service.cli.plan_text import plan_document, show_plans
from service.cli.plans import county_document, farms_by_id, show_counties
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    open_service,
    out,
    print_json,
    progress_bar,
)
from service.demo_farm import (
    BOUNDARY_FILE,
    BOUNDARY_SOURCE,
    DEMO_DAY,
    FARM_FILE,
    FARM_ID,
    FARM_SITE_ID,
    FIRST_EVENING,
    REFERENCE_BLOCK_ID,
    RUNS_FROM,
    weather_file,
)
from service.errors import Conflict, RillwrightError
from service.farm_files.farm_file import read_farm_file
from service.farm_files.weather_file import read_weather_file
from service.operations.evening.run_day import run_day
from service.operations.farms.manage_farms import load_bundle
from service.operations.reading.read_farms import list_farms
from service.operations.reading.read_plans import list_plans
from service.operations.review.compare_counties import CountyComparison, compare_counties
from service.operations.review.import_boundaries import import_boundaries
from service.operations.weather.import_weather import import_weather
from service.records.farms import FarmBundle

ISSUE_TIME = time(19, 0)
WEATHER_TIME = time(17, 30)
WEEK = timedelta(days=7)


def demo(units: UnitsOption = None, as_json: JsonOption = False) -> None:
    """Load an invented farm and its weather, run its evenings, show tomorrow's plan."""
    bundle = read_farm_file(FARM_FILE)
    zone = ZoneInfo(bundle.farm.zone if bundle.farm else "UTC")
    clock = StandingClock(datetime.combine(DEMO_DAY, WEATHER_TIME, zone).astimezone(UTC))
    migrate_database()
    service = open_service(clock=clock)
    _refuse_other_farms(service)
    _load(service, bundle)
    bring_forecasts(service, bundle)
    bring_reports(service)
    _run_evenings(service, clock, zone)
    views = list_plans(day=DEMO_DAY + ONE_DAY, farm_id=FARM_ID, unit_of_work=service.unit_of_work)
    comparison = _compare(service)
    if as_json:
        print_json(
            {
                "plans": [plan_document(view) for view in views],
                "county_need": county_document(comparison),
            }
        )
        return
    farms = farms_by_id(service)
    chosen = units or UnitSystem(farms[FARM_ID].unit_system)
    out.print(
        Text("ALL OF THIS IS INVENTED: the farm, the counties, the weather.", style="bold yellow")
    )
    show_plans(views, farms, chosen)
    out.print()
    show_counties(comparison, chosen)
    _show_next(service)


def _refuse_other_farms(service: Service) -> None:
    others = [
        farm.farm_id
        for farm in list_farms(unit_of_work=service.unit_of_work)
        if farm.farm_id != FARM_ID
    ]
    if others:
        message = (
            f"the database already has other farms ({', '.join(others[:5])}) and the "
            "demonstration would mix invented weather into it; name another one: "
            "RILLWRIGHT_DATABASE_URL=sqlite:///demo.db rillwright demo"
        )
        raise Conflict(message)


def _load(service: Service, bundle: FarmBundle) -> None:
    load_bundle(
        bundle,
        effective_day=FIRST_EVENING,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    import_boundaries(
        BOUNDARY_FILE.read_bytes(),
        source=BOUNDARY_SOURCE,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    for site in bundle.sites:
        content = read_weather_file(weather_file(site.site_id))
        import_weather(
            site.site_id,
            content.days,
            content.fields,
            source="invented",
            forecast_from=DEMO_DAY,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )


def _run_evenings(service: Service, clock: StandingClock, zone: ZoneInfo) -> None:
    """Run each evening up to the demonstration's, unless the last one already has its plans."""
    evenings = [
        FIRST_EVENING + timedelta(days=place)
        for place in range((DEMO_DAY - FIRST_EVENING).days + 1)
    ]
    with progress_bar("evenings", len(evenings)) as progress:
        for done, evening in enumerate(evenings, 1):
            clock.instant = datetime.combine(evening, ISSUE_TIME, zone).astimezone(UTC)
            run = run_day(
                evening,
                unit_of_work=service.unit_of_work,
                clock=clock,
                source_order=service.source_order,
                farm_ids=[FARM_ID],
            )
            if run.failures:
                raise RillwrightError(f"evening of {evening}: {run.failures[0].reason}")
            if evening == FIRST_EVENING:
                set_first_program(service)
            progress(done)


def _compare(service: Service) -> CountyComparison:
    return compare_counties(
        REFERENCE_BLOCK_ID,
        first_day=DEMO_DAY - WEEK,
        last_day=DEMO_DAY - ONE_DAY,
        on=DEMO_DAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )


def _show_next(service: Service) -> None:
    out.print()
    out.print(Text("Where to look next, with this database:", style="bold"))
    for command, purpose in (
        (f"rillwright why {REFERENCE_BLOCK_ID}", "the reasoning behind one plan"),
        (f"rillwright counties --block {REFERENCE_BLOCK_ID} --from {DEMO_DAY}", "the week ahead"),
        (f"rillwright lateral {REFERENCE_BLOCK_ID}", "pressures and flows along its rows"),
        (
            f"rillwright flow-check {REFERENCE_BLOCK_ID} --from {RUNS_FROM} --to {FIRST_EVENING}",
            "its meter held against its pipes",
        ),
        (f"rillwright nutrient-plan {REFERENCE_BLOCK_ID}", "a season by its leaf and soil tests"),
        (f"rillwright timers {FARM_ID}", "what a timer is set to for the week"),
        (f"rillwright forecast-quality {FARM_SITE_ID}", "how good the forecast was here"),
        (f"rillwright season {FARM_ID}", "the year's tasks"),
        (f"rillwright capacity {FARM_ID}", "whether the pumps keep up"),
        (f"rillwright water-report {REFERENCE_BLOCK_ID}", "what the creek water does to berries"),
        (f"rillwright hindcast {REFERENCE_BLOCK_ID}", "the season so far, run again"),
        ("rillwright load --help", "your own farm; examples/farm-template.toml shows how"),
        ("rillwright serve", "the API and its pages in a browser"),
    ):
        out.print(f"  {command}")
        out.print(f"      {purpose}", style="dim")
    out.print(f"Database: {shown_database(service.settings)}", soft_wrap=True)
