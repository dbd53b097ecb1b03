"""A rain gauge reading as it is reported: whose gauge it is, its booking, and the new plans."""

from __future__ import annotations

from service.api.access import Caller, Right, scope_missing
from service.api.once import reporter_of
from service.api.problems import reported_as
from service.api.schemas.bodies import RainIn
from service.api.schemas.feedback import RainOut
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.operations.evening.replan_after import replan_for_site
from service.operations.weather.record_rain import GaugeReport, gauge_farm, store_reading


def book_rain(
    unit: UnitOfWork, site_id: str, reading: RainIn, *, caller: Caller, service: Service
) -> RainOut:
    """Store a reading and plan again after it; raises Refused, NotFound, InputInvalid, Conflict."""
    farm_id = gauge_farm(unit, site_id, caller.farm_asked(reading.farm_id))
    if farm_id is None and Right.ADVISER not in caller.rights:
        raise scope_missing(Right.ADVISER)
    with reported_as({"amount": "/rain_mm"}):
        done = store_reading(
            unit,
            GaugeReport(
                site_id=site_id,
                farm_id=farm_id,
                rain_mm=reading.rain_mm,
                reporter=reporter_of(caller),
                kind=reading.kind,
                read_at=reading.read_at,
                covers_from=reading.covers_from,
                note=reading.note,
                confirm=reading.confirm,
            ),
            source_order=service.source_order,
            clock=service.clock,
        )
    count = replan_for_site(
        unit,
        site_id,
        farm_id=farm_id,
        touched_day=done.first_changed_day,
        replanning=service.replanning,
    )
    return RainOut.from_record(done, count)
