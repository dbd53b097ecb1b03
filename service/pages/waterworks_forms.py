"""Forms of the page of a block's pipes and water: pipes, field test, analysis, injection."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date

from starlette.responses import Response

from service.errors import Conflict, Fault, InputInvalid, NotFound, Stale
from service.operations.access.manage_keys import Right
from service.operations.farms import change_farms
from service.operations.reading.read_farms import local_day
from service.operations.waterworks.catch_tests import record_catch_test
from service.operations.waterworks.order_fertigation import (
    FertigationRequest,
    cancel_fertigation,
    order_fertigation,
    refuse_past_day,
)
from service.operations.waterworks.report_water import record_sample
from service.operations.waterworks.report_water import use_leaching as use
from service.pages import farm_forms, pipes_form
from service.pages.plans import farm_of, parsed_day
from service.pages.setup import farm_now, keeper_of
from service.pages.visit import Visit, faults_by_field, redirect
from service.pages.waterworks import READING_FIELDS, show
from service.records.farms import FarmDefinition
from service.records.waterworks import WaterSample
from service.translations.catalogue import marked
from service.unit_sizes import KG_PER_POUND, L_PER_GALLON, L_PER_H_PER_GPH
from service.waterworks.water_analysis import Reading

UNITS: Mapping[str, float] = {
    "kg": 1.0, "lb": KG_PER_POUND, "L": 1.0, "gal": L_PER_GALLON, "L/h": 1.0,
    "gal/h": L_PER_H_PER_GPH,
}  # fmt: skip
COMMON_TEMPERATURE_C = 15.0
_CUT = re.compile(r"[\s;]+")


def enter_pipes(visit: Visit) -> Response:
    """Store the pipes; the plan is updated if it depends on them."""
    block_id, service = visit.params["block_id"], visit.service
    farm = farm_of(visit, Right.FARM_WRITE)
    bundle = farm_now(visit, farm.farm_id)
    block = next((each for each in bundle.blocks if each.block_id == block_id), None)
    if block is None:
        raise NotFound("there is no such block in use")
    alone = replace(bundle, blocks=(block,), controllers=())
    (table,) = farm_forms.tables_of(service.farm_format.document(alone), "block")
    opened = pipes_form.open_pipes(block, farm_forms.units_of(visit.words))
    try:
        if visit.form.get("version") != opened.version:
            raise Stale("the pipes have changed since the form was opened")
        with service.unit_of_work(write=True) as unit:
            change_farms.replace_block(
                unit,
                block_id,
                pipes_form.change_pipes(table, visit.form, opened),
                keeper_of(visit),
                is_current=lambda now: now == block,
            )
    except InputInvalid as error:
        faults = pipes_form.faults_of(error)
        return show(visit, farm, faults=faults, form_name="pipes", status=422)
    except Stale:
        return show(visit, farm, form_name="pipes", status=409)
    return redirect(f"/blocks/{block_id}/pipes-and-water", done="pipes")


def enter_catch_test(visit: Visit) -> Response:
    """Store a field test; if ticked, plans use its result."""

    def work(farm: FarmDefinition, today: date) -> str:
        is_used = visit.form.get("use") == "yes"
        record_catch_test(
            visit.params["block_id"],
            _day(visit, "day"),
            _volumes(visit.form.get("volumes", "")),
            is_used=is_used,
            effective_day=today,
            unit_of_work=visit.service.unit_of_work,
            clock=visit.service.clock,
        )
        return "test-used" if is_used else "test"

    return _enter(visit, Right.FARM_WRITE, "test", work, rest="volumes")


def enter_water_sample(visit: Visit) -> Response:
    """A laboratory's report of the block's supply."""
    form = visit.form
    given = [(key, units) for key, _, units in READING_FIELDS if form.get(key)]
    names = {
        f"reading[{place}] {key}{end}": key
        for place, (key, _) in enumerate(given)
        for end in ("", " unit")
    }

    def work(farm: FarmDefinition, today: date) -> str:
        with visit.service.unit_of_work(write=False) as unit:
            block = unit.blocks.get_block(visit.params["block_id"], day=today)
        sample = WaterSample(
            farm_id=farm.farm_id,
            supply_id=block.supply_id,
            day=_day(visit, "day"),
            laboratory=form.get("laboratory", "")[:80] or "not named",
            readings=tuple(
                Reading(
                    key,
                    _number(visit, key),
                    form.get(f"{key}_unit", units[0]) if units else "",
                )
                for key, units in given
            ),
            temperature_c=COMMON_TEMPERATURE_C,
        )
        record_sample(sample, unit_of_work=visit.service.unit_of_work, clock=visit.service.clock)
        return "sample"

    return _enter(visit, Right.FARM_WRITE, "sample", work, names=names)


def use_leaching(visit: Visit) -> Response:
    """Apply the leaching requirement of the analysis to plans from now on."""

    def work(farm: FarmDefinition, today: date) -> str:
        use(
            visit.params["block_id"],
            effective_day=today,
            unit_of_work=visit.service.unit_of_work,
            clock=visit.service.clock,
        )
        return "leaching"

    return _enter(visit, Right.FARM_WRITE, "leaching", work)


def enter_injection(visit: Visit) -> Response:
    """Schedule an injection for a coming day."""

    def work(farm: FarmDefinition, today: date) -> str:
        form, service = visit.form, visit.service
        block_id, day = visit.params["block_id"], _day(visit, "day")
        refuse_past_day(block_id, day, unit_of_work=service.unit_of_work, clock=service.clock)
        found = order_fertigation(
            FertigationRequest(
                block_id=block_id,
                day=day,
                product_kg=((form.get("product", ""), _quantity(visit, "mass")),),
                stock_l=_quantity(visit, "stock"),
                temperature_c=COMMON_TEMPERATURE_C,
                injector_lowest_l_per_h=_quantity(visit, "lowest"),
                injector_highest_l_per_h=_quantity(visit, "highest"),
                travel_min=_number(visit, "travel") if form.get("travel") else None,
                last_nitrogen_day=_day(visit, "nitrogen") if form.get("nitrogen") else None,
                is_late_nitrogen_confirmed=form.get("late") == "yes",
            ),
            unit_of_work=service.unit_of_work,
            replanning=service.replanning,
        )
        return "injection-changed" if found.new_version_count else "injection"

    names = {
        "stock_l": "stock", "product_key": "product", "product": "product", "travel_min": "travel",
        "injector": "highest", "product_kg": "mass", "the products together": "stock",
        "liquid products": "stock", "last_nitrogen_day": "nitrogen",
        visit.form.get("product", ""): "stock",
    }  # fmt: skip
    return _enter(visit, Right.WATER_WRITE, "injection", work, names=names, rest="day")


def take_back_injection(visit: Visit) -> Response:
    """Cancel an order."""
    farm_of(visit, Right.WATER_WRITE)
    block_id = visit.params["block_id"]
    day = _day(visit, "day")
    count = cancel_fertigation(
        block_id,
        day,
        unit_of_work=visit.service.unit_of_work,
        replanning=visit.service.replanning,
    )
    done = "injection-ended-changed" if count else "injection-ended"
    return redirect(f"/blocks/{block_id}/pipes-and-water", done=done)


def _enter(
    visit: Visit,
    right: Right,
    form_name: str,
    work: Callable[[FarmDefinition, date], str],
    *,
    names: Mapping[str, str] | None = None,
    rest: str = "",
) -> Response:
    """Process a form; each fault comes back beside its field, under ``rest`` if it has none."""
    farm = farm_of(visit, right)
    today = local_day(visit.service.clock.now(), farm.zone)
    try:
        done = work(farm, today)
    except InputInvalid as error:
        own = {name: name for name in visit.form}
        faults = faults_by_field(error, {**own, **(names or {})})
        return _refused(visit, farm, form_name, faults, rest=rest, status=422)
    except Conflict:
        fault = Fault("day", visit.form.get("day", ""), marked("a day after today"))
        return _refused(visit, farm, form_name, {"day": fault}, rest=rest, status=409)
    return redirect(f"/blocks/{visit.params['block_id']}/pipes-and-water", done=done)


def _refused(
    visit: Visit,
    farm: FarmDefinition,
    form_name: str,
    faults: dict[str, Fault],
    *,
    rest: str,
    status: int,
) -> Response:
    if rest and "" in faults and rest not in faults:
        faults[rest] = faults.pop("")
    return show(visit, farm, faults=faults, form_name=form_name, status=status)


def _volumes(text: str) -> list[float]:
    """Numbers separated by spaces; a comma within a number is a decimal comma."""
    words = [word.rstrip(",") for word in _CUT.split(text.replace(", ", " ")) if word.rstrip(",")]
    try:
        return [float(word.replace(",", ".")) for word in words]
    except ValueError:
        raise InputInvalid(
            "the volumes cannot be read",
            [Fault("volumes", text[:40], marked("numbers separated by spaces, such as 205 198"))],
        ) from None


# A comma before three digits: thousands to some, decimals to others, a factor of 1,000 apart.
_EITHER_COMMA = re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+")


def _number(visit: Visit, name: str) -> float:
    text = visit.form.get(name, "")
    if _EITHER_COMMA.fullmatch(text):
        allowed = marked("the same without the comma, which could mean thousands or decimals")
        raise InputInvalid("a number is not clear", [Fault(name, text[:40], allowed)])
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputInvalid(
            "a number is missing", [Fault(name, text[:40], marked("a number such as 0.4"))]
        )
    return value


def _quantity(visit: Visit, name: str) -> float:
    return _number(visit, name) * UNITS.get(visit.form.get(f"{name}_unit", ""), 1.0)


def _day(visit: Visit, name: str) -> date:
    text = visit.form.get(name, "")
    day = parsed_day(text)
    if day is None:
        raise InputInvalid(
            "a day is missing", [Fault(name, text[:40], marked("a day such as 2026-07-14"))]
        )
    return day
