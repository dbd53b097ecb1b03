"""The page of a farm's reported runs: listed, corrected, taken back, and many from a file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.errors import Fault, InputInvalid, NotFound
from service.farm_files.run_file import COLUMNS, parse_runs
from service.operations.access.manage_keys import Right
from service.operations.feedback.import_runs import import_runs
from service.operations.feedback.report_runs import RunReport
from service.operations.feedback.revise_runs import (
    RunsWish,
    correct_run,
    list_reported,
    undo_run,
)
from service.operations.reading.read_farms import local_day
from service.operations.reading.what_changed import moment
from service.pages.blocks_by_supply import names_in_order
from service.pages.entered import entered_number, entered_time
from service.pages.plans import bundle_of, farm_of, parsed_day
from service.pages.visit import Visit, faults_by_field
from service.pages.what_changed import Change, changed_page
from service.records.farms import FarmDefinition
from service.records.feeds import RunEntry
from service.translations import Wording
from service.translations.catalogue import marked
from service.unit_sizes import L_PER_GALLON

PAGE_SIZE = 50
MOST_RUNS = 20_000
"""Of a file."""
_FILE = "run_file"
_FIELDS = {"/started_at": "time", "/duration_min": "minutes", "/volume_l": "volume"}


@dataclass(frozen=True, slots=True)
class RunRow:
    """One run on the page."""

    block_id: str
    block_name: str
    start_key: str
    """The start as the address of its form has it."""
    day: str
    clock: str
    minutes: str
    water: str
    is_questioned: bool
    reporter: str


def wish_of(visit: Visit, farm: FarmDefinition, *, count: int) -> RunsWish:
    """Which runs the address asks for."""
    block_id = visit.query.get("block", "")
    return RunsWish(
        farm.farm_id,
        block_id if block_id.startswith(f"{farm.farm_id}.") else None,
        parsed_day(visit.query.get("from", "")),
        parsed_day(visit.query.get("to", "")),
        _before(visit.query.get("before", "")),
        count=count,
    )


def show_runs(visit: Visit) -> Response:
    """The page."""
    return _show(visit, farm_of(visit))


def show_run(visit: Visit) -> Response:
    """The form that corrects a run."""
    farm = farm_of(visit, Right.WATER_WRITE)
    return _form(visit, farm, _run_of(visit, farm))


def change_run(visit: Visit) -> Response:
    """Correct a run or take it back; the page says what that changed."""
    farm = farm_of(visit, Right.WATER_WRITE)
    run = _run_of(visit, farm)
    try:
        with visit.service.unit_of_work(write=True) as unit:
            before = moment(unit)
            if visit.form.get("act") == "undo":
                done = "run-undone"
                count = undo_run(
                    unit, run.block_id, run.started_at, replanning=visit.service.replanning
                ).new_version_count
            else:
                done = "run-corrected"
                count = correct_run(
                    unit,
                    run.started_at,
                    _entered(visit, farm, run),
                    reporter=visit.reporter,
                    replanning=visit.service.replanning,
                ).new_version_count
            after = moment(unit)
    except InputInvalid as error:
        names = {**{name: name for name in ("day", "time", "minutes", "volume")}, **_FIELDS}
        return _form(visit, farm, run, faults=faults_by_field(error, names), status=422)
    tomorrow = local_day(visit.service.clock.now(), farm.zone) + ONE_DAY
    done = f"{done}-{'changed' if count else 'kept'}"
    return changed_page(farm.farm_id, Change(done, tomorrow, before, after, run.block_id))


def upload_runs(visit: Visit) -> Response:
    """A file of runs stored, or all that is wrong with it; nothing of it is stored then."""
    farm = farm_of(visit, Right.WATER_WRITE)
    sent = visit.files.get(_FILE)
    if sent is None:
        fault = Fault(_FILE, "", marked("a file, as described above"))
        return _show(visit, farm, faults={_FILE: fault}, status=422)
    try:
        with visit.service.unit_of_work(write=True) as unit:
            before = moment(unit)
            import_runs(
                unit,
                parse_runs(sent.content, name=sent.name[:80]),
                farm_id=farm.farm_id,
                block_id=visit.form.get("block") or None,
                reporter=visit.reporter,
                replanning=visit.service.replanning,
            )
            after = moment(unit)
    except InputInvalid as error:
        return _show(visit, farm, file_faults=error.faults, status=422)
    tomorrow = local_day(visit.service.clock.now(), farm.zone) + ONE_DAY
    return changed_page(farm.farm_id, Change("run-file", tomorrow, before, after))


def _show(
    visit: Visit,
    farm: FarmDefinition,
    *,
    faults: Mapping[str, Fault] | None = None,
    file_faults: tuple[Fault, ...] = (),
    status: int = 200,
) -> Response:
    today = local_day(visit.service.clock.now(), farm.zone)
    names = names_in_order(bundle_of(visit, farm, today))
    wish = wish_of(visit, farm, count=PAGE_SIZE)
    day_fault = None
    if wish.first_day and wish.last_day and wish.last_day < wish.first_day:
        day_fault = Fault("to", visit.query.get("to", ""), marked("the first day or a later one"))
        wish = replace(wish, last_day=None)
    found = list_reported(wish, unit_of_work=visit.service.unit_of_work)
    last = found.runs[-1] if found.has_more else None
    return visit.show(
        "runs.html",
        status=422 if day_fault else status,
        farm=farm,
        block_names=names,
        chosen=wish.block_id or "",
        first_day=visit.query.get("from", ""),
        last_day=visit.query.get("to", ""),
        runs=[_row(each, names, visit.words) for each in found.runs],
        older="" if last is None else f"{last.started_at.isoformat()}~{last.run_key}",
        asked={name: visit.query[name] for name in ("block", "from", "to") if name in visit.query},
        columns=COLUMNS,
        faults={**(faults or {}), **({} if day_fault is None else {"to": day_fault})},
        file_faults=file_faults,
        form=visit.form,
        may_write=visit.may(Right.WATER_WRITE),
    )


def _form(
    visit: Visit,
    farm: FarmDefinition,
    run: RunEntry,
    *,
    faults: Mapping[str, Fault] | None = None,
    status: int = 200,
) -> Response:
    words = visit.words
    local = run.started_at.astimezone(ZoneInfo(run.zone))
    is_us = words.unit_system == "us"
    volume = None if run.volume_l is None else run.volume_l / (L_PER_GALLON if is_us else 1.0)
    today = local_day(visit.service.clock.now(), farm.zone)
    names = names_in_order(bundle_of(visit, farm, today))
    return visit.show(
        "run_form.html",
        status=status,
        farm=farm,
        row=_row(run, names, words),
        form=visit.form
        or {
            "day": local.date().isoformat(),
            "time": f"{local:%H:%M}",
            "minutes": f"{run.duration_min:g}",
            "volume": "" if volume is None else f"{volume:.1f}".removesuffix(".0"),
            "unit": "gal" if is_us else "L",
        },
        faults=faults or {},
    )


def _entered(visit: Visit, farm: FarmDefinition, run: RunEntry) -> RunReport:
    """The run as the form has it; a start that was left as it is keeps its seconds."""
    started_at = entered_time(visit, "day", "time").replace(tzinfo=ZoneInfo(run.zone))
    if started_at == run.started_at.astimezone(ZoneInfo(run.zone)).replace(second=0, microsecond=0):
        started_at = run.started_at
    volume = entered_number(visit, "volume") if visit.form.get("volume") else None
    if volume is not None and visit.form.get("unit") == "gal":
        volume *= L_PER_GALLON
    return RunReport(
        run.block_id,
        started_at,
        entered_number(visit, "minutes"),
        volume,
        is_volume_confirmed=visit.form.get("confirm") == "yes",
    )


def _run_of(visit: Visit, farm: FarmDefinition) -> RunEntry:
    """The run that the address names; raises NotFound."""
    started_at = _instant(visit.params["start"])
    day = started_at.astimezone(ZoneInfo(farm.zone)).date()
    found = list_reported(
        RunsWish(farm.farm_id, visit.params["block_id"], day - ONE_DAY, day + ONE_DAY, count=1000),
        unit_of_work=visit.service.unit_of_work,
    )
    run = next((each for each in found.runs if each.started_at == started_at), None)
    if run is None:
        raise NotFound("there is no such run, or it has been taken back")
    return run


def _instant(text: str) -> datetime:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise NotFound("there is no such run") from None
    if found.tzinfo is None or not date(1970, 1, 2) < found.date() < date(2200, 1, 1):
        raise NotFound("there is no such run")
    return found.astimezone(UTC)


def _before(text: str) -> tuple[datetime, int] | None:
    start, _, key = text.partition("~")
    if not key.isascii() or not key.isdigit() or len(key) > 18:
        return None
    try:
        return _instant(start), int(key)
    except NotFound:
        return None


def _row(entry: RunEntry, names: Mapping[str, str], words: Wording) -> RunRow:
    local = entry.started_at.astimezone(ZoneInfo(entry.zone))
    return RunRow(
        block_id=entry.block_id,
        block_name=names.get(entry.block_id, entry.block_id),
        start_key=entry.started_at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        day=f"{words.short_day(local.date())} {local.year}",
        clock=words.clock(entry.started_at, entry.zone),
        minutes=words.minutes(entry.duration_min),
        water="" if entry.volume_l is None else words.volume(entry.volume_l),
        is_questioned=entry.volume_l is not None and not entry.is_volume_booked,
        reporter=entry.reporter,
    )
