"""The web application: routes, problem documents and documentation put together."""

from __future__ import annotations

import gc
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager, nullcontext
from datetime import timedelta
from functools import partial
from typing import Any

from fastapi import APIRouter, FastAPI
from starlette.datastructures import State
from starlette.routing import Route
from starlette.types import Receive, Scope, Send

from service import __version__
from service.api.access import (
    TOOLS_PATH,
    Gate,
    GuardedPaths,
    check_rights,
    rights_by_operation,
)
from service.api.body_guard import BodyGuard
from service.api.compression import Compression
from service.api.county_desk import CountyDesk
from service.api.history import (
    HISTORY,
    ApiChange,
    Fields,
    deprecation_fields,
    mark_deprecated,
)
from service.api.hot_path import PLAN_ROUTE, PROGRAM_ROUTE, HotPath
from service.api.latest_times import LatestTimes
from service.api.method_table import MethodsByPath
from service.api.negotiation import ANSWERS_WHAT_IS_ACCEPTED
from service.api.news import News
from service.api.openapi_document import complete, describe_farms, keep_nulls
from service.api.own_machine import is_loopback
from service.api.plan_documents import PlanDocuments
from service.api.problems import handle_problems
from service.api.program import Programs
from service.api.repeats import GIVEN_ONCE
from service.api.request_frame import RequestFrame
from service.api.routes import (
    balances,
    blocks,
    calendars,
    changelog,
    changes,
    comparisons,
    controllers,
    counties,
    dosing,
    events,
    farms,
    feeds,
    forecast_quality,
    gauges,
    lists,
    log_book,
    nutrition,
    observations,
    pages,
    parts,
    pauses,
    plans,
    rates,
    risk_trials,
    run_reports,
    runs,
    season,
    soil_readings,
    status,
    timers,
    visit_notes,
    waterworks,
    what_if,
)
from service.api.schemas.problems import ProblemOut
from service.api.tools_door import MakeTools, ToolsDoor
from service.bootstrap import Service
from service.metrics import RequestMetrics, Siblings
from service.pages.mount import mount_pages
from service.pages.visit import Door

NOTE_POLLS_EVERY = timedelta(minutes=5)
"""How often the last polls of controllers are written, all of them together."""
_DESCRIPTION = """\
Weather-driven drip irrigation plans for perennial fruit: how long each block should run on the
next day, in pulses that do not drain below the roots, and why.

- **Units** are part of the names: `_mm` depth over the block area, `_min` minutes, `_l` liters,
  `_c` degrees Celsius, `_m2` square meters. An unknown value is `null`.
- **Days** are local days of the block, `YYYY-MM-DD`; instants are RFC 3339 with a numeric offset.
- **Errors** are problem documents (RFC 9457, `application/problem+json`); their types are explained
  under [/problems](/problems). Each answer carries its id in `X-Request-Id`.
- **Versions**: within `/v1`, fields, enumeration values and problem types are only ever added.
  Ignore any you do not know. `/v1/changelog` has the history; answers of what is deprecated carry
  `Deprecation` and `Sunset`.
- `HEAD` works wherever `GET` does.
- **For operators**: `/livez` answers 200 while the process lives; `/readyz` answers 200 while the
  database is at this version's schema, takes writes and has room left, else 503; `/metrics` is for
  Prometheus; `/v1/status` says in detail how the service is doing.
"""
_TAGS: list[dict[str, Any]] = [
    {"name": "blocks", "description": "The unit of irrigation: the plants on one valve."},
    {"name": "plans", "description": "What to run on a given day, and why."},
    {"name": "controllers", "description": "What a field controller should run."},
    {"name": "calendars", "description": "Plans as a calendar that people subscribe to."},
    {"name": "balances", "description": "The water balance behind the plans."},
    {"name": "feedback", "description": "What happened in the field: runs, rain, soil, pauses."},
    {"name": "farms", "description": "What a farm consists of, as in its farm file."},
    {"name": "counties", "description": "Water need of counties compared, for advisers."},
    {"name": "waterworks", "description": "Pipes, water, acid and fertilizer."},
    {"name": "nutrition", "description": "Leaf, petiole and soil tests, and what follows."},
    {"name": "season", "description": "The year's tasks, and what was seen on visits."},
    {"name": "lists", "description": "What there is: farms, sites, counties, crops, controllers."},
    {"name": "events", "description": "Telling other systems what happens."},
    {"name": "changes", "description": "Who changed what, and when."},
    {"name": "status", "description": "How the service itself is doing."},
]


_SERVERS: list[dict[str, Any]] = [
    {"url": "/", "description": "This service, at the address where this document was fetched."}
]


V1_ROUTERS = (
    blocks.router,
    plans.router,
    controllers.router,
    calendars.router,
    balances.router,
    rates.router,
    comparisons.router,
    what_if.router,
    forecast_quality.router,
    risk_trials.router,
    runs.router,
    run_reports.router,
    gauges.router,
    soil_readings.router,
    observations.router,
    pauses.router,
    timers.router,
    farms.router,
    counties.router,
    waterworks.router,
    dosing.router,
    nutrition.router,
    parts.router,
    season.router,
    visit_notes.router,
    changes.router,
    log_book.router,
    events.router,
    feeds.router,
    changelog.router,
    lists.router,
    status.router,
)
LARGE_PATHS = frozenset(
    {observations.OBSERVATIONS_PATH, run_reports.RUN_FILES_PATH, counties.BOUNDARIES_PATH}
)
OTHER_ROUTERS = (pages.router, status.probes_router, status.metrics_router)


def _last_polls(service: Service) -> LatestTimes:
    return LatestTimes(
        service.unit_of_work,
        lambda unit, polls: unit.polls.note(polls),
        every=NOTE_POLLS_EVERY,
        what="the last polls",
    )


def _every_route() -> APIRouter:
    """The routes of all applications of this process.

    The web framework prepares the routes of an included router at the first request, which takes
    as long as some dozens of requests, and meanwhile changes the warning filters of the process,
    which no second thread may do. Applications share the routes, so that this happens once, under
    the lock of the router.
    """
    every = APIRouter()
    for router in V1_ROUTERS:
        # What calendar programs accept says little about what they read.
        is_strict = router is not calendars.router
        every.include_router(
            router,
            prefix="/v1",
            dependencies=[GIVEN_ONCE, ANSWERS_WHAT_IS_ACCEPTED] if is_strict else [GIVEN_ONCE],
        )
    for router in OTHER_ROUTERS:
        every.include_router(router)
    return every


_EVERY_ROUTE = _every_route()


def _door(service: Service, gate: Gate, news: News, county_desk: CountyDesk) -> Door:
    """What the pages share with the API."""
    return Door(
        gate.find_caller,
        gate.over_address_limit,
        news.look,
        gate.over_link_limit,
        lambda spans, on: county_desk.weather(service, tuple(spans), on=on),
    )


def create_app(
    service: Service,
    *,
    host: str | None = None,
    make_tools: MakeTools | None = None,
    history: Sequence[ApiChange] = HISTORY,
    siblings: Siblings | None = None,
) -> FastAPI:
    """The web application for a service whose database is ready.

    ``host`` is the address it is served on (None: the one in the settings). Only on loopback may it
    be open while no key is stored. ``make_tools`` makes the tools for agents, if they are served.
    ``history`` says what of it is deprecated. ``siblings`` are the other processes of a `serve`.
    """
    news = News(service.unit_of_work)
    county_desk = CountyDesk(news)
    tools = None if make_tools is None else make_tools(service, county_desk)
    app = _Application(
        title="Rillwright",
        version=__version__,
        summary="From weather to irrigation pulses and minutes.",
        description=_DESCRIPTION,
        openapi_tags=_TAGS,
        servers=_SERVERS,
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
        docs_url=None,
        redoc_url=None,
        webhooks=events.webhooks,
        redirect_slashes=False,  # a controller may not follow redirects
        lifespan=partial(_serving, tools),
    )
    app.state.service = service
    app.state.metrics = RequestMetrics(siblings)
    app.state.news = news
    app.state.programs = Programs(service.unit_of_work, news)
    app.state.polls = _last_polls(service)
    app.state.plan_documents = PlanDocuments(news)
    app.state.county_desk = county_desk
    app.state.rights = {}
    app.state.history = history
    notices = deprecation_fields(history)
    methods = MethodsByPath()
    app.state.methods_of = methods.allowed
    app.state.gate = gate = Gate(
        service, news, is_loopback=is_loopback(host or service.settings.host)
    )
    for router in V1_ROUTERS:
        check_rights(router.routes)
        app.state.rights.update(rights_by_operation(router.routes))
        methods.add(router.routes, prefix="/v1")
    app.routes.extend(_EVERY_ROUTE.routes)
    if tools is not None:
        app.routes.append(Route(TOOLS_PATH, tools.endpoint, methods=["POST"]))
    pages.serve_documentation_files(app)
    door = _door(service, gate, news, county_desk)
    app.state.unknown_page = mount_pages(app, service, door)
    handle_problems(app)
    _add_middleware(app, gate, notices)
    app.hot_path = _hot_path(app.state, notices)
    return app


def _add_middleware(app: FastAPI, gate: Gate, notices: Mapping[str, Fields]) -> None:
    # The last one added sees a request first.
    app.add_middleware(BodyGuard, large_paths=LARGE_PATHS)
    app.add_middleware(GuardedPaths, gate=gate, news=app.state.news)
    app.add_middleware(RequestFrame, metrics=app.state.metrics, notices=notices)
    app.add_middleware(Compression)


def _hot_path(state: State, notices: Mapping[str, Fields]) -> HotPath | None:
    """The fast way to polls and plans; None where one is deprecated, which it cannot say."""
    if notices.keys() & {f"GET {PROGRAM_ROUTE}", f"GET {PLAN_ROUTE}"}:
        return None
    return HotPath(
        programs=state.programs,
        polls=state.polls,
        plans=state.plan_documents,
        news=state.news,
        gate=state.gate,
        clock=state.service.clock,
        metrics=state.metrics,
    )


@asynccontextmanager
async def _serving(tools: ToolsDoor | None, _app: FastAPI) -> AsyncIterator[None]:
    """Run the tools, and exclude everything created at start-up from garbage collection, while the
    server runs.

    A full collection scans every live object, and with the whole application among them it stalls
    all answers for a tenth of a second.
    """
    async with nullcontext() if tools is None else tools.running():
        gc.collect()
        gc.freeze()
        yield
        gc.unfreeze()


class _Application(FastAPI):
    hot_path: HotPath | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer what can be answered at once before any middleware runs; everything else goes
        the usual way.
        """
        if self.hot_path is None or not await self.hot_path.answer(scope, send):
            try:
                await super().__call__(scope, receive, send)
            finally:
                if scope["type"] == "http" and scope["method"] not in ("GET", "HEAD"):
                    self.state.news.expire()

    def openapi(self) -> dict[str, Any]:
        """The OpenAPI document, with the schema that all problem answers refer to."""
        document = super().openapi()
        schemas = document["components"]["schemas"]
        if "ProblemOut" not in schemas:
            own = ProblemOut.model_json_schema(ref_template="#/components/schemas/{model}")
            schemas.update(own.pop("$defs"))
            schemas["ProblemOut"] = own
            describe_farms(schemas, self.state.service.farm_format)
            document["components"]["schemas"] = dict(sorted(schemas.items()))
            keep_nulls(document, (route for router in V1_ROUTERS for route in router.routes))
            mark_deprecated(document, self.state.history)
            complete(document, self.state.rights)
        return document
