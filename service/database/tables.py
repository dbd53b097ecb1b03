"""The tables: what the service stores, for SQLite and PostgreSQL alike.

Each subject declares its own (``*_tables.py``); stores take them from here, so that the schema is
whole whoever asks for it.

``..._key`` columns are integer keys of the database's own; ``..._id`` columns are names that people
chose. Numbers carry the names and units of ``service.agronomy.units``; NULL means "not known".
Instants are UTC; a ``day`` is a local calendar date.
"""

from __future__ import annotations

from service.database.access_tables import (
    api_key,
    calendar_link,
    ended_session,
    idempotent_answer,
    mail,
    person,
    request_tally,
    sign_in_request,
)
from service.database.audit_tables import audit_entry
from service.database.column_types import UtcInstant, instant_text, metadata, read_instant
from service.database.event_tables import event, event_delivery, event_subscription
from service.database.farm_tables import (
    block,
    block_version,
    county,
    county_boundary,
    farm,
    farm_site,
    site,
    supply,
)
from service.database.feedback_tables import (
    pause,
    run,
    soil_reading,
)
from service.database.forecast_tables import (
    forecast_issue,
    forecast_lead,
    forecast_place,
    forecast_truth,
)
from service.database.member_tables import forecast_members, source_weight
from service.database.nutrition_tables import nutrient_test
from service.database.plan_tables import (
    balance_day,
    balance_state,
    controller,
    controller_channel,
    controller_poll,
    controller_program,
    plan,
    plan_text,
    timer_program,
)
from service.database.rain_tables import farm_rain_day, rain_gauge_reading
from service.database.schedule_tables import (
    change_mark,
    job_run,
    scheduler_tick,
)
from service.database.season_tables import visit_note
from service.database.shadow_tables import risk_notice, shadow_day
from service.database.waterworks_tables import (
    acid_treatment,
    catch_test,
    fertigation,
    fertiliser_product,
    flow_finding,
    water_sample,
)
from service.database.weather_tables import (
    breaker,
    http_payload,
    station,
    station_file,
    station_interval,
    weather_basis,
    weather_day,
)

__all__ = [
    "UtcInstant",
    "acid_treatment",
    "api_key",
    "audit_entry",
    "balance_day",
    "balance_state",
    "block",
    "block_version",
    "breaker",
    "calendar_link",
    "catch_test",
    "change_mark",
    "controller",
    "controller_channel",
    "controller_poll",
    "controller_program",
    "county",
    "county_boundary",
    "ended_session",
    "event",
    "event_delivery",
    "event_subscription",
    "farm",
    "farm_rain_day",
    "farm_site",
    "fertigation",
    "fertiliser_product",
    "flow_finding",
    "forecast_issue",
    "forecast_lead",
    "forecast_members",
    "forecast_place",
    "forecast_truth",
    "http_payload",
    "idempotent_answer",
    "instant_text",
    "job_run",
    "mail",
    "metadata",
    "nutrient_test",
    "pause",
    "person",
    "plan",
    "plan_text",
    "rain_gauge_reading",
    "read_instant",
    "request_tally",
    "risk_notice",
    "run",
    "scheduler_tick",
    "shadow_day",
    "sign_in_request",
    "site",
    "soil_reading",
    "source_weight",
    "station",
    "station_file",
    "station_interval",
    "supply",
    "timer_program",
    "visit_note",
    "water_sample",
    "weather_basis",
    "weather_day",
]
