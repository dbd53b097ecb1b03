"""The page of one block: its season, the reasoning behind a day's plan, and forms for reports."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.sparse_canopy import expected_coefficient
from service.database.session import UnitOfWork
from service.delivery.meter_words import metered_texts
from service.delivery.weekly_words import effect_words
from service.errors import Conflict, Fault, InputInvalid, PlanNotFound
from service.operations.access.manage_keys import Right
from service.operations.evening.replan_after import replan_for_site
from service.operations.feedback.compare_meter import QUESTIONED
from service.operations.feedback.pause_blocks import cancel_pause, list_pauses, pause_block
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.reading.block_lines import line_of_plan, pause_of_day
from service.operations.reading.read_balance import LedgerLine, ledger_lines
from service.operations.reading.read_farms import local_day
from service.operations.reading.read_plans import (
    PlanView,
    get_plan,
    ledger_before,
    metered_days,
    plan_steps,
)
from service.operations.reading.what_changed import moment
from service.operations.waterworks.learn_rate import use_rate
from service.operations.weather.rain_amounts import faults_in_inches
from service.operations.weather.record_rain import GaugeReport, store_reading
from service.pages.block_day import BlockDay, block_day, shown_steps
from service.pages.block_doubt import BlockDoubt, block_doubt
from service.pages.block_months import first_shown_day, months_view, used_by_month
from service.pages.block_season import kc_chart, season_days, season_view
from service.pages.block_trial import offers_of
from service.pages.entered import entered_number, entered_time
from service.pages.plans import emitter_flow_text, farm_of, flow_text, parsed_day
from service.pages.rain_question import (
    RestsOthersError,
    ask_about_rain,
    ask_before_resting,
)
from service.pages.sensor_form import FAULT_FIELDS, store_sensed
from service.pages.soil_form import store_wetness, wetness_choices
from service.pages.visit import Visit, faults_by_field, redirect
from service.pages.water_log import water_log
from service.pages.waterworks import summary
from service.pages.what_changed import Change, changed_page, moment_now
from service.records.farms import BlockDefinition, FarmDefinition
from service.records.feedback import Pause
from service.translations import Wording
from service.unit_sizes import L_PER_GALLON, MM_PER_INCH
from service.waterworks.metered_run import FlowLimit

SEASON = timedelta(days=90)
LOG_DAYS = 14
_CLOSING_CROPS = ("citrus", "olive")
"""Crops whose stomata close more than those of grass: their coefficient cannot be estimated from
the canopy.
"""

_QUESTIONED_DONE = "runs-questioned-"


def show_block(visit: Visit) -> Response:
    """The page without a form in it."""
    farm = farm_of(visit)
    return _show(visit, farm)


def _show(
    visit: Visit,
    farm: FarmDefinition,
    *,
    faults: Mapping[str, Fault] | None = None,
    form_name: str = "",
    status: int = 200,
) -> Response:
    block_id, words = visit.params["block_id"], visit.words
    today = local_day(now := visit.service.clock.now(), farm.zone)
    asked = parsed_day(visit.query.get("date", ""))
    view = _plan(visit, block_id, asked)
    latest = _plan(visit, block_id, None) if asked else view
    end = today if latest is None else min(today, latest.plan.day)  # of the season shown
    with visit.service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=today + ONE_DAY)
        key = unit.blocks.get_block_key(block_id)
        rows = unit.ledger.read_rows(key, first_day=first_shown_day(end), last_day=end)
        log_days = np.arange(np.datetime64(end - timedelta(days=LOG_DAYS)), np.datetime64(end) + 1)
        applied = unit.reports.read_applied(np.array([key], dtype=np.int64), log_days)
        pipes_and_water = summary(unit, block, today, words)
        books = _books(unit, view, words)
        offers = offers_of(unit, block, today, span=(end - SEASON, end), words=words)
    pauses = list_pauses(block_id, unit_of_work=visit.service.unit_of_work)
    season = season_days(rows, latest, block, first_day=end - SEASON)
    wall_now = now.astimezone(ZoneInfo(farm.zone)).replace(tzinfo=None)
    return visit.show(
        "block.html",
        status=status,
        farm=farm,
        block=block,
        view=view,
        day=None if view is None else _day(view, pauses, words, now=now, today=today),
        steps=() if view is None else shown_steps(plan_steps(view), words),
        books=books,
        days=season,
        season=season_view(season, block, words),
        months=months_view(rows, used_by_month(visit, block, end), words),
        kc_chart=kc_chart(season, block, words),
        expected_kc=None if view is None else _expected_kc(view, block),
        pipes_and_water=pipes_and_water,
        log=list(reversed(water_log(log_days, applied))),
        pauses=[each for each in pauses if each.period.ends_local >= wall_now],
        wetness=wetness_choices(words),
        flow=flow_text(block.flow_l_per_h, words),
        faults=faults or {},
        is_unlikely="amount" in (faults or {}) and _is_unlikely((faults or {})["amount"]),
        form_name=form_name,
        form=visit.form if form_name else {},
        today=today,
        clock_now=f"{wall_now:%H:%M}",
        done=visit.query.get("done", ""),
        questioned=_question(visit),
        can_report=visit.may(Right.WATER_WRITE),
        can_change=visit.may(Right.FARM_WRITE),
        emitter_flow=emitter_flow_text,
        **offers,
    )


# --- forms -------------------------------------------------------------------------------------


def enter_rain(visit: Visit) -> Response:
    """A reading of the farm's rain gauge."""

    def work(unit: UnitOfWork, block: BlockDefinition, farm: FarmDefinition) -> int:
        unit_mm = MM_PER_INCH if visit.form.get("unit") == "in" else 1.0
        before = moment(unit)
        with faults_in_inches(visit.form.get("unit") == "in"):
            done = store_reading(
                unit,
                GaugeReport(
                    site_id=block.site_id,
                    farm_id=farm.farm_id,
                    rain_mm=entered_number(visit, "amount") * unit_mm,
                    reporter=visit.reporter,
                    read_at=entered_time(visit, "day", "time"),
                    note=visit.form.get("note", "")[:200],
                    confirm=visit.form.get("confirm") == "yes",
                ),
                source_order=visit.service.source_order,
                clock=visit.service.clock,
            )
        count = replan_for_site(
            unit,
            block.site_id,
            farm_id=farm.farm_id,
            touched_day=done.first_changed_day,
            replanning=visit.service.replanning,
        )
        tomorrow = local_day(visit.service.clock.now(), farm.zone) + ONE_DAY
        ask_before_resting(unit, visit, block, before=before, tomorrow=tomorrow)
        return count

    try:
        return _enter(visit, "rain", work, {"read_at": "time", "covers_from": "time"})
    except RestsOthersError as question:
        farm = farm_of(visit, Right.WATER_WRITE)
        tomorrow = local_day(visit.service.clock.now(), farm.zone) + ONE_DAY
        return ask_about_rain(visit, farm, question.changes, tomorrow)


def enter_run(visit: Visit) -> Response:
    """A run that took place; the page says when its volume is questioned."""
    questioned: list[str] = []

    def work(unit: UnitOfWork, block: BlockDefinition, farm: FarmDefinition) -> int:
        started = entered_time(visit, "day", "time").replace(tzinfo=ZoneInfo(farm.zone))
        volume = entered_number(visit, "volume") if visit.form.get("volume") else None
        if volume is not None and visit.form.get("unit") == "gal":
            volume *= L_PER_GALLON
        done = report_runs(
            unit,
            [
                RunReport(
                    block.block_id,
                    started,
                    entered_number(visit, "minutes"),
                    volume,
                    is_volume_confirmed=visit.form.get("confirm") == "yes",
                )
            ],
            farm_id=farm.farm_id,
            reporter=visit.reporter,
            replanning=visit.service.replanning,
        )
        questioned.extend(note.limit.value for note in done.flow if note.questioned_count)
        return done.new_version_count

    answer = _enter(
        visit,
        "runs",
        work,
        {
            "/items/0/started_at": "time",
            "/items/0/duration_min": "minutes",
            "/items/0/volume_l": "volume",
        },
    )
    if questioned:
        done = f"{_QUESTIONED_DONE}{questioned[0]}"
        return redirect(f"/blocks/{visit.params['block_id']}", done=done)
    return answer


def use_emitter_flow(visit: Visit) -> Response:
    """Plan with the emitter flow that the meter shows, or with the stated one again."""
    farm_of(visit, Right.FARM_WRITE)
    block_id = visit.params["block_id"]
    try:
        with visit.service.unit_of_work(write=True) as unit:
            _, count = use_rate(
                unit, block_id, entered_number(visit, "flow"), replanning=visit.service.replanning
            )
    except (Conflict, InputInvalid):
        return redirect(f"/blocks/{block_id}", done="flow-gone")
    return redirect(f"/blocks/{block_id}", done=f"flow-{'changed' if count else 'kept'}")


def enter_soil(visit: Visit) -> Response:
    """How wet the soil is."""

    def work(unit: UnitOfWork, block: BlockDefinition, farm: FarmDefinition) -> int:
        return store_wetness(visit, unit, block.block_id, entered_time(visit, "day", "time"))

    return _enter(visit, "soil", work, {"/read_at": "time"})


def enter_sensor(visit: Visit) -> Response:
    """What a soil sensor shows."""

    def work(unit: UnitOfWork, block: BlockDefinition, farm: FarmDefinition) -> int:
        read_at = entered_time(visit, "day", "time").replace(tzinfo=ZoneInfo(farm.zone))
        return store_sensed(visit, unit, block.block_id, read_at)

    return _enter(visit, "sensor", work, FAULT_FIELDS)


def enter_pause(visit: Visit) -> Response:
    """Store a pause."""

    def work(unit: UnitOfWork, block: BlockDefinition, farm: FarmDefinition) -> int:
        _, count = pause_block(
            unit,
            block.block_id,
            starts_local=entered_time(visit, "day", "time"),
            ends_local=entered_time(visit, "end_day", "end_time"),
            reason=visit.form.get("reason", ""),
            reporter=visit.reporter,
            replanning=visit.service.replanning,
        )
        return count

    return _enter(
        visit,
        "pauses",
        work,
        {"/ends_local": "end_time", "/starts_local": "time", "/reason": "reason"},
    )


def take_back_pause(visit: Visit) -> Response:
    """Cancel a pause."""
    farm = farm_of(visit, Right.WATER_WRITE)
    block_id = visit.params["block_id"]
    before = moment_now(visit)
    cancel_pause(
        block_id,
        visit.params["pause_id"],
        unit_of_work=visit.service.unit_of_work,
        replanning=visit.service.replanning,
    )
    after = moment_now(visit)
    tomorrow = local_day(visit.service.clock.now(), farm.zone) + ONE_DAY
    return changed_page(farm.farm_id, Change("pause-ended", tomorrow, before, after, block_id))


def _enter(
    visit: Visit,
    form_name: str,
    work: Callable[[UnitOfWork, BlockDefinition, FarmDefinition], int],
    fields: Mapping[str, str],
) -> Response:
    farm = farm_of(visit, Right.WATER_WRITE)
    block_id = visit.params["block_id"]
    own = (
        "amount", "minutes", "volume", "wetness", "value", "depth", "day", "time", "end_day",
        "end_time", "note", "reason",
    )  # fmt: skip
    try:
        with visit.service.unit_of_work(write=True) as unit:
            today = local_day(visit.service.clock.now(), farm.zone)
            block = unit.blocks.get_block(block_id, day=today + ONE_DAY)
            before = moment(unit)
            count = work(unit, block, farm)
            after = moment(unit)
    except InputInvalid as error:
        names = {**{name: name for name in own}, **fields}
        return _show(
            visit,
            farm,
            faults=faults_by_field(error, names),
            form_name=form_name,
            status=422,
        )
    done = f"{form_name}-{'changed' if count else 'kept'}"
    change = Change(done, today + ONE_DAY, before, after, block.block_id)
    return changed_page(farm.farm_id, change)


def _question(visit: Visit) -> str:
    """Why the volume of the run just reported is not booked; empty where it is."""
    done = visit.query.get("done", "")
    if not done.startswith(_QUESTIONED_DONE):
        return ""
    limit = done.removeprefix(_QUESTIONED_DONE)
    return QUESTIONED[FlowLimit(limit)] if limit in set(FlowLimit) else ""


def _is_unlikely(fault: Fault) -> bool:
    """Whether an amount of rain only needs confirming."""
    return "confirm" in fault.allowed


# --- what is shown -----------------------------------------------------------------------------


def _day(
    view: PlanView, pauses: Sequence[Pause], words: Wording, *, now: datetime, today: date
) -> BlockDay:
    """The plan of a day with the pause that holds on it."""
    day = view.plan.day
    periods = (*view.block.no_water, *(pause.period for pause in pauses))
    line = replace(line_of_plan(view), pause=pause_of_day(periods, day))
    found = block_day(line, day, view.zone, words, now=now, today=today)
    weekly = effect_words(view.plan, view.zone, words)
    return replace(found, why=(*found.why, weekly)) if weekly else found


@dataclass(frozen=True, slots=True)
class Books:
    """The ledger that leads to a plan."""

    lines: tuple[LedgerLine, ...] = ()
    metered: tuple[str, ...] = ()
    """What the meter counted on its days, as text."""
    doubt: BlockDoubt | None = None
    """How sure the plan is."""


def _books(unit: UnitOfWork, view: PlanView | None, words: Wording) -> Books:
    if view is None:
        return Books()
    rows = ledger_before(unit, view)
    metered = metered_days(unit, view.block, rows)
    texts = (text for each in metered for text in metered_texts(each, words))
    lines = ledger_lines(rows, view.block.trigger_fraction)
    return Books(lines, tuple(texts), block_doubt(unit, view, words))


def _plan(visit: Visit, block_id: str, day: date | None) -> PlanView | None:
    try:
        return get_plan(block_id, day=day, unit_of_work=visit.service.unit_of_work)
    except PlanNotFound:
        return None


def _expected_kc(view: PlanView, block: BlockDefinition) -> float | None:
    """Kc at full leaf estimated from the canopy alone, for the weather of the plan's day."""
    if block.crop_key.startswith(_CLOSING_CROPS):
        return None
    basal, evaporation = expected_coefficient(
        block.canopy_cover_fraction,
        block.canopy_height_m,
        wetted_fraction=block.wetted_fraction,
        climate_term=view.plan.weather.value("climate_term", view.plan.day) or 0.0,
    )
    expected = float(basal + evaporation)
    return expected if math.isfinite(expected) else None
