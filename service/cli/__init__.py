"""The command line ``rillwright``: the commands for growers, advisers and operators.

Commands only read arguments, call one operation and print the result; the rules are all in the
inner layers. ``terminal.py`` holds what all commands share (errors to exit codes, JSON, progress).
"""

from __future__ import annotations

import io
import sys

from service.cli.access import keys
from service.cli.acid_given import acid_given
from service.cli.backups import backup, restore, verify
from service.cli.board import farm
from service.cli.boundaries import boundaries_import
from service.cli.capacity import capacity
from service.cli.changes import changes
from service.cli.controllers import calendar_link, controllers
from service.cli.day_report import report_day
from service.cli.demonstration import demo
from service.cli.dosing import chlorine, pumping
from service.cli.evening import load, report_run, run_day, soil, weather_import
from service.cli.events import events
from service.cli.fertiliser import (
    fertigate,
    fertigations,
    fertiliser_add,
    fertiliser_split,
    fertilisers,
)
from service.cli.flow import flow_check
from service.cli.forecast_quality import forecast_quality
from service.cli.housekeeping import check, components, migrate, serve
from service.cli.learned import learned
from service.cli.ledger import balance, water_used
from service.cli.log_book import log_book
from service.cli.mail import mail, people
from service.cli.numbers import block, crops, soils
from service.cli.nutrition import nutrient_plan, test_add, test_list
from service.cli.parts import parts
from service.cli.pipes import catch_test, lateral
from service.cli.plans import counties, plan, why
from service.cli.reference_et import et0
from service.cli.review import hindcast
from service.cli.risk_trial import risk_attitude, risk_trial
from service.cli.run import prepare, run
from service.cli.runs import runs
from service.cli.schedule import schedule
from service.cli.season import note_add, notes, season
from service.cli.soil_reading import reading
from service.cli.terminal import NumbersCommand, make_app
from service.cli.timers import timer_set, timers
from service.cli.tools import tools
from service.cli.water import acid, water_add, water_report
from service.cli.weather import gauge, station_import
from service.cli.what_if import what_if

__all__ = ["app", "main"]

app = make_app()
app.command()(demo)
app.command()(load)
app.command("weather-import")(weather_import)
app.command("station-import")(station_import)
app.command()(gauge)
app.command("run-day")(run_day)
app.command()(plan)
app.command()(farm)
app.command()(why)
app.command("what-if")(what_if)
app.command()(block)
app.command()(crops)
app.command()(soils)
app.command()(balance)
app.command("water-used")(water_used)
app.command()(counties)
app.command("boundaries-import")(boundaries_import)
app.command("forecast-quality")(forecast_quality)
app.command("report-run")(report_run)
app.command("report-day")(report_day)
app.command()(soil)
app.command()(reading)
app.command()(et0)
app.command()(hindcast)
app.command("risk-trial")(risk_trial)
app.command("risk-attitude")(risk_attitude)
app.command()(lateral)
app.command()(parts)
app.command()(season)
app.command("note")(note_add)
app.command()(notes)
app.command("catch-test", cls=NumbersCommand)(catch_test)
app.command("flow-check")(flow_check)
app.command()(learned)
app.command()(capacity)
app.command("water-add")(water_add)
app.command("water-report")(water_report)
app.command("test-add")(test_add)
app.command("tests")(test_list)
app.command("nutrient-plan")(nutrient_plan)
app.command()(acid)
app.command("acid-given")(acid_given)
app.command()(chlorine)
app.command()(pumping)
for spelling, is_hidden in (("fertilizer", False), ("fertiliser", True)):
    app.command(f"{spelling}s", hidden=is_hidden)(fertilisers)
    app.command(f"{spelling}-add", hidden=is_hidden)(fertiliser_add)
    app.command(f"{spelling}-split", hidden=is_hidden)(fertiliser_split)
app.command()(fertigate)
app.command()(fertigations)
app.command()(controllers)
app.command("calendar-link")(calendar_link)
app.command()(timers)
app.command("timer-set")(timer_set)
app.command("log-book")(log_book)
app.command()(changes)
app.command()(check)
app.command()(components)
app.command()(migrate)
app.command()(backup)
app.command()(verify)
app.command()(restore)
app.command()(serve)
app.command()(schedule)
app.command()(run)
app.command()(prepare)
app.command()(tools)
app.add_typer(runs, name="runs")
app.add_typer(keys, name="keys")
app.command()(mail)
app.add_typer(people, name="people")
app.add_typer(events, name="events")


def main() -> None:
    """Run the command line."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a character such as the degree sign shows a question mark instead.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    app(prog_name="rillwright")
