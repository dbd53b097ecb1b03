"""The part of the nomenclature that is about the service itself: its jobs, requests and events.

In: nothing. Out: :data:`SERVICE_GROUP`, one line for each name, as in
:mod:`service.agronomy.units`.
"""

from __future__ import annotations

from math import inf

from service.agronomy.quantity import Quantity

SERVICE_GROUP = (
    Quantity("ran_min", "min", 0, 1500, "minutes that a block ran on a day"),
    Quantity("block_days_count", "1", 0, 1e6, "blocks that a report is about, over its days"),
    Quantity("reported_count", "1", 0, 1e6, "blocks of a day that were reported already"),
    Quantity("age_h", "h", 0, inf, "age of weather values when a plan was made"),
    Quantity("weather_age_h", "h", 0, inf, "age of the oldest weather behind a plan"),
    Quantity("busy_timeout_ms", "ms", 0, inf, "time for which a locked database is waited for"),
    Quantity("lease_s", "s", 1, inf, "time for which a process holds a duty"),
    Quantity("midnight_epoch_s", "s", -inf, inf, "beginning of a local day, since 1970"),
    Quantity("window_s", "s", 1, inf, "time within which requests are counted together"),
    Quantity("heartbeat_s", "s", 0, inf, "time between two renewals of a lease"),
    Quantity("due_count", "1", 0, inf, "runs of a job that are due and not done"),
    Quantity("observed_age_h", "h", 0, inf, "hours since the last observed day ended"),
    Quantity("forecast_age_h", "h", 0, inf, "hours since the newest forecast was issued"),
    Quantity("duration_s", "s", 0, inf, "time from a request to the end of its answer"),
    Quantity("attempt_count", "1", 1, inf, "times that a duty was taken up"),
    Quantity("evening_lead_min", "min", 0, 720, "time from an evening's run to the issue time"),
    Quantity("change_count", "1", 0, inf, "how often things of a kind have changed"),
    Quantity("request_count", "1", 0, inf, "requests to a weather source"),
    Quantity("failure_count", "1", 0, inf, "requests among them that failed"),
    Quantity("payload_count", "1", 0, inf, "raw answers of weather services"),
    Quantity("issue_count", "1", 0, inf, "issues of ensembles, by place and model"),
    Quantity("job_run_count", "1", 0, inf, "runs of the scheduler's jobs"),
    Quantity("byte_count", "1", 0, inf, "bytes of a file"),
    Quantity("backup_alarm_h", "h", 0, inf, "age of the last backup above which it is a finding"),
    Quantity("farm_count", "1", 0, inf, "farms"),
    Quantity("block_count", "1", 0, inf, "blocks"),
    Quantity("site_count", "1", 0, inf, "sites"),
    Quantity("county_count", "1", 0, inf, "counties"),
    Quantity("day_count", "1", 0, inf, "days that a figure covers"),
    Quantity("forecast_day_count", "1", 0, inf, "days among them whose weather is forecast"),
    Quantity("without_weather_count", "1", 0, inf, "blocks without a plan for want of weather"),
    Quantity("short_count", "1", 0, inf, "blocks that get less than they need on a day"),
    Quantity("unreported_days_count", "1", 0, inf, "days whose plan was taken as carried out"),
    Quantity("new_version_count", "1", 0, inf, "plan versions that a run stored"),
    Quantity("created_count", "1", 0, inf, "things that a load created"),
    Quantity("changed_count", "1", 0, inf, "things that a load changed"),
    Quantity("unchanged_count", "1", 0, inf, "things that a load found as they were"),
    Quantity("retired_count", "1", 0, inf, "things that a load took out of force"),
    Quantity("connect_timeout_s", "s", 0, inf, "wait for a connection to a weather source"),
    Quantity("read_timeout_s", "s", 0, inf, "wait for the next bytes of an answer"),
    Quantity("pool_timeout_s", "s", 0, inf, "wait for a free connection"),
    Quantity("total_deadline_s", "s", 0, inf, "time for all attempts of a request"),
    Quantity("batch_deadline_s", "s", 0, inf, "time for all requests of a refresh"),
    Quantity("connect_s", "s", 0, 60, "time that a connection to a receiver may take"),
    Quantity("read_s", "s", 0, 60, "time that a receiver may be silent"),
    Quantity("total_s", "s", 0, 60, "time of an attempt in all"),
    Quantity("delivered_count", "1", 0, inf, "events that a receiver took"),
    Quantity("dead_count", "1", 0, inf, "events that were given up"),
    Quantity("given_up_count", "1", 0, inf, "mails that were given up"),
    Quantity("silent_controller_count", "1", 0, inf, "controllers that stopped polling"),
    Quantity("failing_refresh_count", "1", 0, inf, "weather refreshes tried in vain"),
    Quantity("resent_count", "1", 0, inf, "events that were given up and wait again"),
    Quantity("waiting_count", "1", 0, inf, "events that wait to be sent"),
    Quantity("disabled_count", "1", 0, inf, "receivers that are switched off"),
)
