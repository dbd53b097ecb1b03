"""The history of the API: what came, changed or goes, and the header fields that follow from it.

:data:`HISTORY` is the one declaration. ``GET /v1/changelog`` shows it; the answers of what is
deprecated carry ``Deprecation`` (RFC 9745), ``Sunset`` (RFC 8594) and a ``Link`` to it; and the
OpenAPI document marks it. A test holds it to the routes: each is named when it came.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from email.utils import format_datetime
from enum import StrEnum
from typing import Any, Final

from service.api.openapi_headers import header_ref

CHANGELOG: Final = "/v1/changelog"
LEAST_NOTICE: Final = timedelta(days=365)
"""How long a deprecated route or field goes on working, at the least."""
FIRST_ERROR: Final = 400
Fields = tuple[tuple[str, str], ...]


class ChangeKind(StrEnum):
    """What happened to routes or fields."""

    ADDED = "added"
    CHANGED = "changed"
    DEPRECATED = "deprecated"
    REMOVED = "removed"


@dataclass(frozen=True, slots=True)
class ApiChange:
    """A change of the API.

    Raises ValueError for one that is deprecated without a year's notice.
    """

    version: str
    """Of the service that has it first."""
    day: date
    kind: ChangeKind
    routes: tuple[str, ...]
    """Method and path, as in the OpenAPI document."""
    words: str
    fields: tuple[str, ...] = ()
    """Schema and property, such as ``PlanOut.summary``; empty: the routes as a whole."""
    sunset: date | None = None
    """Of what is deprecated, the first day on which it may be gone."""

    def __post_init__(self) -> None:
        """Refuse what callers could not act on."""
        if (self.kind is ChangeKind.DEPRECATED) != (self.sunset is not None):
            raise ValueError(f"{self.words!r}: a sunset is for what is deprecated, and for all")
        if self.sunset is not None and self.sunset < self.day + LEAST_NOTICE:
            raise ValueError(f"{self.words!r}: the sunset is at least a year later")


def deprecation_fields(history: Sequence[ApiChange]) -> Mapping[str, Fields]:
    """By route, the header fields of its answers but errors; routes without any are missing.

    Of several notices on one route, the earliest days count.
    """
    found: dict[str, tuple[date, date]] = {}
    for each in history:
        if each.sunset is None:
            continue
        for route in each.routes:
            since, until = found.get(route, (each.day, each.sunset))
            found[route] = (min(since, each.day), min(until, each.sunset))
    return {
        route: (
            ("Deprecation", f"@{int(_midnight(since).timestamp())}"),
            ("Sunset", format_datetime(_midnight(until), usegmt=True)),
            ("Link", f'<{CHANGELOG}>; rel="deprecation"'),
        )
        for route, (since, until) in found.items()
    }


def mark_deprecated(document: dict[str, Any], history: Sequence[ApiChange]) -> None:
    """Mark in the OpenAPI document what is deprecated, and describe the fields of its answers."""
    for route in deprecation_fields(history):
        operation = _operation(document, route)
        for status, answer in operation["responses"].items():
            if int(status) >= FIRST_ERROR:
                continue
            answer.setdefault("headers", {}).update(
                {
                    "Deprecation": header_ref("Deprecation"),
                    "Sunset": header_ref("Sunset"),
                    "Link": header_ref("DeprecationLink"),
                }
            )
    for each in history:
        if each.kind is not ChangeKind.DEPRECATED:
            continue
        for name in each.fields:
            schema, _, field = name.partition(".")
            document["components"]["schemas"][schema]["properties"][field]["deprecated"] = True
        for route in () if each.fields else each.routes:
            _operation(document, route)["deprecated"] = True


def _operation(document: dict[str, Any], route: str) -> dict[str, Any]:
    method, _, path = route.partition(" ")
    operation: dict[str, Any] = document["paths"][path][method.lower()]
    return operation


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), tzinfo=UTC)


def _added(day: date, words: str, *routes: str) -> ApiChange:
    return ApiChange("0.1.0", day, ChangeKind.ADDED, routes, words)


HISTORY: Final[tuple[ApiChange, ...]] = (
    _added(
        date(2026, 11, 25),
        "The first routes: farms, blocks, plans and their reasoning, balances, programs of"
        " controllers, reports from the field, counties, pipes and water.",
        "DELETE /v1/blocks/{block_id}",
        "DELETE /v1/blocks/{block_id}/fertigations/{day}",
        "DELETE /v1/blocks/{block_id}/pauses/{pause_id}",
        "DELETE /v1/farms/{farm_id}",
        "GET /v1/blocks",
        "GET /v1/blocks/{block_id}",
        "GET /v1/blocks/{block_id}/acid-estimate",
        "GET /v1/blocks/{block_id}/balance",
        "GET /v1/blocks/{block_id}/catch-tests",
        "GET /v1/blocks/{block_id}/fertigations",
        "GET /v1/blocks/{block_id}/fertilisers",
        "GET /v1/blocks/{block_id}/flow",
        "GET /v1/blocks/{block_id}/flow-check",
        "GET /v1/blocks/{block_id}/hydraulics",
        "GET /v1/blocks/{block_id}/pauses",
        "GET /v1/blocks/{block_id}/plan",
        "GET /v1/blocks/{block_id}/water-report",
        "GET /v1/blocks/{block_id}/why",
        "GET /v1/calendars/{secret}.ics",
        "GET /v1/controllers/{controller_id}/program",
        "GET /v1/counties/water-need",
        "GET /v1/farms/{farm_id}",
        "GET /v1/farms/{farm_id}/file",
        "GET /v1/farms/{farm_id}/plans",
        "GET /v1/status",
        "GET /v1/supplies/{supply_id}/capacity",
        "GET /v1/supplies/{supply_id}/water-samples",
        "POST /v1/blocks/{block_id}/pauses",
        "POST /v1/blocks/{block_id}/soil-readings",
        "POST /v1/farms",
        "POST /v1/farms/{farm_id}/blocks",
        "POST /v1/gauges/{site_id}/readings",
        "POST /v1/runs",
        "PUT /v1/blocks/{block_id}",
        "PUT /v1/blocks/{block_id}/catch-tests/{day}",
        "PUT /v1/blocks/{block_id}/fertigations/{day}",
        "PUT /v1/blocks/{block_id}/leaching",
        "PUT /v1/farms/{farm_id}",
        "PUT /v1/supplies/{supply_id}/water-samples/{day}",
    ),
    _added(
        date(2026, 11, 29),
        "Chlorine, the energy of a plan, and the parts of a block.",
        "GET /v1/blocks/{block_id}/chlorine-estimate",
        "GET /v1/blocks/{block_id}/parts",
        "GET /v1/blocks/{block_id}/pumping",
    ),
    _added(
        date(2026, 11, 29),
        "Programs for timers, the rate that a meter shows, and a year against a rule of thumb.",
        "GET /v1/blocks/{block_id}/comparison",
        "GET /v1/blocks/{block_id}/emitter-flow",
        "GET /v1/farms/{farm_id}/timers",
        "POST /v1/blocks/{block_id}/timer",
        "PUT /v1/blocks/{block_id}/emitter-flow",
    ),
    _added(
        date(2026, 11, 29),
        "Leaf, petiole and soil tests, and the plan of nutrients that follows.",
        "GET /v1/blocks/{block_id}/nutrient-plan",
        "GET /v1/blocks/{block_id}/nutrient-tests",
        "POST /v1/blocks/{block_id}/nutrient-tests",
    ),
    _added(
        date(2026, 11, 30),
        "The season of a farm, also as a calendar, and notes of visits.",
        "GET /v1/calendars/{secret}/season.ics",
        "GET /v1/farms/{farm_id}/season",
        "GET /v1/farms/{farm_id}/visit-notes",
        "POST /v1/farms/{farm_id}/visit-notes",
    ),
    _added(
        date(2026, 11, 30),
        "A season of fertilizer split over days, and the acid that a block was given.",
        "DELETE /v1/blocks/{block_id}/acid-treatments/{day}",
        "GET /v1/blocks/{block_id}/acid-treatments",
        "GET /v1/blocks/{block_id}/fertiliser-split",
        "PUT /v1/blocks/{block_id}/acid-treatments/{day}",
    ),
    _added(
        date(2026, 11, 30),
        "Thousands of readings of meters and sensors in one request.",
        "POST /v1/observations",
    ),
    _added(
        date(2026, 11, 30),
        "The record of changes: who changed what, and when.",
        "GET /v1/changes",
        "GET /v1/farms/{farm_id}/changes",
    ),
    _added(
        date(2026, 11, 30),
        "Lists: farms, sites, counties, crops, controllers, and the days of a site's weather.",
        "GET /v1/controllers",
        "GET /v1/counties",
        "GET /v1/crops",
        "GET /v1/farms",
        "GET /v1/sites",
        "GET /v1/sites/{site_id}/weather-days",
    ),
    _added(
        date(2026, 11, 30),
        "Plans and runs of all farms, to be followed from a cursor on.",
        "GET /v1/plans",
        "GET /v1/runs",
    ),
    _added(
        date(2026, 11, 30),
        "Events: who is notified of what happens at a farm, and what became of each.",
        "DELETE /v1/farms/{farm_id}/event-subscriptions/{subscription_id}",
        "GET /v1/farms/{farm_id}/event-subscriptions",
        "GET /v1/farms/{farm_id}/event-subscriptions/{subscription_id}",
        "GET /v1/farms/{farm_id}/event-subscriptions/{subscription_id}/deliveries",
        "POST /v1/farms/{farm_id}/event-subscriptions/{subscription_id}/resends",
        "POST /v1/farms/{farm_id}/event-subscriptions/{subscription_id}/secret",
        "POST /v1/farms/{farm_id}/event-subscriptions/{subscription_id}/tests",
        "PUT /v1/farms/{farm_id}/event-subscriptions/{subscription_id}",
    ),
    _added(date(2026, 11, 30), "The history of the API.", "GET /v1/changelog"),
    _added(
        date(2026, 11, 30),
        "A farm at a glance, and the water that it used.",
        "GET /v1/farms/{farm_id}/board",
        "GET /v1/farms/{farm_id}/water-used",
    ),
    _added(
        date(2026, 11, 30),
        "What would change in the coming week.",
        "GET /v1/farms/{farm_id}/what-if",
    ),
    _added(
        date(2026, 11, 30),
        "The numbers of a block with their sources, and the soil textures.",
        "GET /v1/blocks/{block_id}/numbers",
        "GET /v1/soils",
    ),
    _added(
        date(2026, 11, 30),
        "How good the forecasts at a site were.",
        "GET /v1/sites/{site_id}/forecast-quality",
    ),
    _added(
        date(2026, 11, 30),
        "Reported runs of a farm, listed and undone, and many from a file. A run that was undone"
        " comes again in `GET /v1/runs` with no minutes and `is_undone`.",
        "DELETE /v1/blocks/{block_id}/runs/{started_at}",
        "GET /v1/farms/{farm_id}/runs",
        "POST /v1/run-files",
    ),
    _added(
        date(2026, 11, 30),
        "Boundaries of counties, imported and read as GeoJSON.",
        "GET /v1/counties/boundaries",
        "PUT /v1/counties/boundaries",
    ),
    ApiChange(
        "0.1.0",
        date(2026, 11, 30),
        ChangeKind.ADDED,
        ("GET /v1/blocks/{block_id}/plan", "GET /v1/blocks/{block_id}/why"),
        "How sure a plan is: bands of its outlook, `spread` and why there is none"
        " (`spread_missing`); and `hindsight`, a day that is over with the rain that fell.",
        (
            "ExplanationOut.hindsight",
            "OutlookDayOut.depletion_band_mm",
            "OutlookDayOut.expected_band_min",
            "OutlookDayOut.rain_band_mm",
            "PlanOut.spread",
            "PlanOut.spread_missing",
        ),
    ),
    ApiChange(
        "0.1.0",
        date(2026, 11, 30),
        ChangeKind.ADDED,
        ("GET /v1/sites/{site_id}/forecast-quality",),
        "Scores of ensembles, each model a source of its own.",
        ("AmountScoresOut.half_coverage_fraction", "AmountScoresOut.most_coverage_fraction"),
    ),
    _added(
        date(2026, 11, 30),
        "What weighing the forecast would have done in a block that follows the evening rule, and"
        " the choice of either.",
        "GET /v1/blocks/{block_id}/risk-trial",
        "PUT /v1/blocks/{block_id}/risk-attitude",
    ),
    _added(
        date(2026, 12, 1),
        "The log book of a farm in plain sentences. It and the runs of a farm also come as a"
        " spreadsheet.",
        "GET /v1/farms/{farm_id}/log-book",
    ),
)
"""The oldest change first; a change is added at the end and never taken out."""
