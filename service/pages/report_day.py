"""The form that reports a farm's day in one go, on Tomorrow's page and on a page of its own."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.errors import Fault, InputInvalid
from service.operations.access.manage_keys import Right
from service.operations.feedback.report_day import (
    NOT_ASKED,
    DayReport,
    DayToReport,
    days_to_report,
    report_days,
)
from service.operations.feedback.report_runs import LONGEST_RUN_MIN
from service.operations.reading.read_farms import local_day
from service.operations.reading.what_changed import moment
from service.pages.blocks_by_supply import blocks_by_supply
from service.pages.plans import bundle_of, farm_of, parsed_day
from service.pages.visit import Visit
from service.pages.what_changed import Change, changed_page
from service.pages.whole_name import whole_name
from service.records.farms import FarmBundle, FarmDefinition
from service.translations.catalogue import marked

FIELD = "min-"
MOST_MINUTE_FIELDS = 400
"""[CHOICE] Blocks that a form asks about one by one; farms with more report single runs."""
MOST_DAYS = 8
MOST_UNGROUPED = 14
"""Fields of a form that are listed by the clock; more are grouped by supply."""
_A_NUMBER = marked("minutes such as 45; 0 means that it did not run")
_HOW_IT_RAN = marked("all as planned, or some differed")
_ONE_DAY_ONLY = marked("one day, where blocks differed")


@dataclass(frozen=True, slots=True)
class MinuteField:
    """The minutes of one block."""

    block_id: str
    name: str
    """Of the input."""
    label: str
    value: str
    """The planned minutes, or what was typed."""
    fault: Fault | None


@dataclass(frozen=True, slots=True)
class DayForm:
    """One day that can be reported."""

    day: date
    is_today: bool
    fields: tuple[MinuteField, ...]
    reported_count: int
    """Blocks that were reported already."""
    does_differ: bool
    """Whether the reader has said that some differed."""
    block_count: int = 0
    groups: tuple[tuple[str, tuple[MinuteField, ...]], ...] = ()
    """Of a long form: the fields by supply, each in reading order; empty: as they are."""


def form_of_last_day(visit: Visit, farm: FarmDefinition) -> tuple[DayForm | None, int]:
    """The form of the latest day that nobody has reported, and how many days wait before it."""
    if not visit.may(Right.WATER_WRITE):
        return None, 0
    days = _days(visit, farm)
    return (_form(days[0], visit, farm, {}), len(days) - 1) if days else (None, 0)


def show_report(visit: Visit) -> Response:
    """All days that can be reported."""
    return _show(visit, farm_of(visit, Right.WATER_WRITE), {})


def enter_report(visit: Visit) -> Response:
    """Store what was said of a day, or of several that ran as planned."""
    farm = farm_of(visit, Right.WATER_WRITE)
    tomorrow = local_day(visit.service.clock.now(), farm.zone) + ONE_DAY
    try:
        reports = _entered(visit, farm)
        with visit.service.unit_of_work(write=True) as unit:
            before = moment(unit)
            done = report_days(
                unit,
                farm.farm_id,
                reports,
                reporter=visit.reporter,
                replanning=visit.service.replanning,
            )
            after = moment(unit)
    except InputInvalid as error:
        return _show(visit, farm, {fault.where: fault for fault in reversed(error.faults)})
    return changed_page(
        farm.farm_id,
        Change(
            done="day" if len(reports) == 1 else "days",
            tomorrow=tomorrow,
            before=before,
            after=after,
            is_kept=bool(done.kept),
        ),
    )


def _entered(visit: Visit, farm: FarmDefinition) -> list[DayReport]:
    """The days of a form; raises InputInvalid with the places that the operation names."""
    texts = visit.form.get("days", "").split(",")[: MOST_DAYS + 1]
    days = [day for text in texts if (day := parsed_day(text)) is not None]
    if len(days) != len(texts) or len(days) > MOST_DAYS:
        raise InputInvalid(
            "a day is missing", [Fault("/days", visit.form.get("days", "")[:40], NOT_ASKED)]
        )
    how = visit.form.get("ran", "")
    if how == "planned":
        return [DayReport(day) for day in days]
    if how != "some":
        raise InputInvalid("a choice is missing", [Fault("/ran", how[:40], _HOW_IT_RAN)])
    if len(days) > 1:
        raise InputInvalid("one day at a time", [Fault("/days", f"{len(days)}", _ONE_DAY_ONLY)])
    ran_min, faults = {}, []
    for name, text in visit.form.items():
        if not name.startswith(FIELD):
            continue
        block_id = f"{farm.farm_id}.{name.removeprefix(FIELD)}"
        try:
            ran_min[block_id] = float(text.replace(",", "."))
        except ValueError:
            ran_min[block_id] = math.nan
        if not math.isfinite(ran_min[block_id]):
            faults.append(Fault(f"/days/0/ran_min/{block_id}", text[:40], _A_NUMBER))
    if faults:
        raise InputInvalid("a number is missing", faults)
    return [DayReport(days[0], ran_min)]


def _days(visit: Visit, farm: FarmDefinition) -> tuple[DayToReport, ...]:
    with visit.service.unit_of_work(write=False) as unit:
        return days_to_report(unit, farm.farm_id, now=visit.service.clock.now())


def _show(visit: Visit, farm: FarmDefinition, faults: Mapping[str, Fault]) -> Response:
    days = _days(visit, farm)
    sent = parsed_day(visit.form.get("days", "")) if faults else None
    forms = [_form(day, visit, farm, faults if day.day == sent else {}) for day in days]
    if any(len(form.fields) > MOST_UNGROUPED for form in forms):
        bundle = bundle_of(visit, farm, forms[0].day)
        forms = [_by_supply(form, bundle) for form in forms]
    at_fields = {
        _where(field.block_id) for form in forms for field in form.fields if field.fault is not None
    }
    return visit.show(
        "report_day.html",
        status=422 if faults else 200,
        farm=farm,
        forms=forms,
        all_days=",".join(day.day.isoformat() for day in days),
        other_faults_shown={
            where: fault for where, fault in faults.items() if where not in at_fields
        },
        most=visit.words.number(LONGEST_RUN_MIN),
    )


def _form(
    asked: DayToReport, visit: Visit, farm: FarmDefinition, faults: Mapping[str, Fault]
) -> DayForm:
    fields = tuple(
        MinuteField(
            block_id=block.block_id,
            name=(name := f"{FIELD}{block.block_id.partition('.')[2]}"),
            label=whole_name(block.name),
            value=visit.form.get(name, "") if faults else str(block.planned_min),
            fault=faults.get(_where(block.block_id)),
        )
        for block in asked.blocks
    )
    return DayForm(
        day=asked.day,
        is_today=asked.day == local_day(visit.service.clock.now(), farm.zone),
        fields=fields if len(fields) <= MOST_MINUTE_FIELDS else (),
        reported_count=len(asked.reported_ids),
        does_differ=bool(faults) and visit.form.get("ran") == "some",
        block_count=len(fields),
    )


def _by_supply(form: DayForm, bundle: FarmBundle) -> DayForm:
    """A long form with its fields by supply, so that one is found without reading all."""
    if len(form.fields) <= MOST_UNGROUPED:
        return form
    fields = {field.block_id: field for field in form.fields}
    groups = [
        (name, tuple(fields.pop(each.block_id) for each in blocks if each.block_id in fields))
        for name, blocks in blocks_by_supply(bundle)
    ]
    if fields:  # a block that has been retired since
        groups.append(("", tuple(fields.values())))
    return replace(form, groups=tuple(group for group in groups if group[1]))


def _where(block_id: str) -> str:
    return f"/days/0/ran_min/{block_id}"
