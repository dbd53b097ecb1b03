"""Liveness, readiness and state of the service, for load balancers, people and Prometheus.

The probes need no key and say nothing but yes or no. Anything that names farms or hosts is on
routers of its own (``router`` under /v1, ``metrics_router``), so that the application can require a
key there.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import JSONResponse, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import described, problems
from service.api.dependencies import TheService
from service.api.examples import STATUS
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.queries import StatusQuery
from service.api.schemas.status import StatusOut
from service.bootstrap import Service
from service.errors import StorageFailed
from service.logs import get_logger
from service.metrics import CONTENT_TYPE, SCRAPED_RUNS, RequestMetrics, status_exposition
from service.operations.schedule.read_signals import Signals, read_signals
from service.operations.schedule.read_status import (
    RUNS_SHOWN,
    ServiceStatus,
    check_ready,
    read_status,
)

log = get_logger(__name__)
probes_router = APIRouter(include_in_schema=False)
metrics_router = APIRouter(include_in_schema=False)
router = APIRouter(tags=["status"])
_NO_STORE = {"Cache-Control": "no-store"}


@probes_router.get("/livez")
async def is_alive() -> Response:
    """This process is alive; nothing else is checked, or a slow database would get it restarted."""
    return JSONResponse({"status": "pass"}, headers=_NO_STORE)


@probes_router.get("/readyz")
def is_ready(service: TheService) -> Response:
    """The database answers, has this version's schema and takes writes; else a 503 problem.

    ``limits`` says whether all processes count requests together or each for itself.
    """
    check_ready(unit_of_work=service.unit_of_work, check_storage=service.check_storage)
    limits = "all-processes" if service.shares_counts else "each-process"
    return JSONResponse({"status": "pass", "limits": limits}, headers=_NO_STORE)


@metrics_router.get("/metrics", dependencies=[needs(Right.PLAN_READ, region_only=True)])
def show_metrics(request: Request, service: TheService) -> Response:
    """Requests of this process and the state of the service, in Prometheus' text format."""
    counted: RequestMetrics = request.app.state.metrics
    status: ServiceStatus | None = None
    signals: Signals | None = None
    try:
        status = _read(service, is_scrape=True)
        signals = read_signals(
            unit_of_work=service.unit_of_work,
            clock=service.clock,
            evening_lead_min=service.settings.evening_lead_min,
            free_bytes=service.free_bytes,
        )
    except StorageFailed as failure:
        # The scrape itself must not fail: it is what shows that the database is down.
        log.error("the database did not answer a scrape", reason=str(failure))
    return Response(
        counted.exposition()
        + status_exposition(status, signals, schema_revision=service.schema_revision),
        headers={**_NO_STORE, "Content-Type": CONTENT_TYPE},
    )


@router.get(
    "/status",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_status",
    summary="Get the state of the service",
    description="Whether the scheduler is active, what is due and not done, the last and next "
    "evening run of each farm, the age of each site's weather, and the weather "
    "services that are paused for now. Without `farm`, all farms and sites are listed.",
    responses={
        200: described("The state.", STATUS),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_status(
    service: TheService,
    caller: TheCaller,
    response: Response,
    query: Annotated[StatusQuery, Query()],
) -> StatusOut:
    """The state now."""
    response.headers["Cache-Control"] = "no-store"
    return StatusOut.from_record(_read(service, farm_id=caller.farm_asked(query.farm)))


def _read(
    service: Service, *, farm_id: str | None = None, is_scrape: bool = False
) -> ServiceStatus:
    return read_status(
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        sources=tuple(service.refreshers),
        evening_lead_min=service.settings.evening_lead_min,
        farm_id=farm_id,
        runs_since=SCRAPED_RUNS if is_scrape else RUNS_SHOWN,
        backup_alarm_after=service.backup_alarm_after,
    )
