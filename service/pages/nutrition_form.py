"""Forms of the page of a block's leaf and soil tests: enter one, delete one."""

from __future__ import annotations

from datetime import date

from starlette.responses import Response

from service.errors import Fault, InputInvalid
from service.nutrition.readings import NutrientReading
from service.operations.access.manage_keys import Right
from service.operations.nutrition.record_tests import record_test, remove_test
from service.pages.entered import entered_number
from service.pages.nutrition import PLANT_FIELDS, SOIL_FIELDS, show
from service.pages.plans import farm_of, parsed_day
from service.pages.visit import Visit, faults_by_field, redirect
from service.records.nutrition import NutrientTest, TestSort
from service.translations.catalogue import marked

LONGEST_WORDS = 1000
LONGEST_NAME = 120


def enter_plant_test(visit: Visit) -> Response:
    """A laboratory's report on leaves or petioles."""
    tissue, _, stage = visit.form.get("sampled", "").partition(".")
    kind: TestSort = "petiole" if tissue == "petiole" else "leaf"
    return _enter(visit, kind, PLANT_FIELDS, tissue=tissue, stage=stage)


def enter_soil_test(visit: Visit) -> Response:
    """A laboratory's report on the soil."""
    return _enter(visit, "soil", SOIL_FIELDS)


def delete_test(visit: Visit) -> Response:
    """Delete the tests of a kind of one day."""
    farm_of(visit, Right.FARM_WRITE)
    block_id = visit.params["block_id"]
    remove_test(
        block_id,
        day=_day(visit, "day"),
        kind=visit.form.get("kind", ""),
        unit_of_work=visit.service.unit_of_work,
    )
    return redirect(f"/blocks/{block_id}/leaf-and-soil-tests", done="deleted")


def _enter(
    visit: Visit,
    kind: TestSort,
    fields: tuple[tuple[str, tuple[str, ...]], ...],
    *,
    tissue: str = "",
    stage: str = "",
) -> Response:
    """Store a test; each fault comes back beside its field."""
    farm = farm_of(visit, Right.FARM_WRITE)
    block_id, form, service = visit.params["block_id"], visit.form, visit.service
    try:
        if kind != "soil" and not stage:
            fault = Fault("sampled", tissue[:40] or "nothing", marked("a line of the list"))
            raise InputInvalid("it is not known what was sampled", [fault])
        test = NutrientTest(
            block_id=block_id,
            day=_day(visit, "day"),
            kind=kind,
            crop=form.get("crop", ""),
            tissue=tissue,
            stage=stage,
            leaf_count=_leaf_count(visit),
            extractant=form.get("extractant") or "not-stated",
            texture=form.get("texture", ""),
            ph_method=form.get("ph_method") or "water",
            laboratory=form.get("laboratory", "")[:LONGEST_NAME] or "not named",
            recommendation=form.get("recommendation", "")[:LONGEST_WORDS],
            readings=tuple(
                NutrientReading(
                    name,
                    entered_number(visit, name),
                    form.get(f"{name}_unit", units[0]) if units else "",
                )
                for name, units in fields
                if form.get(name)
            ),
        )
        record_test(test, unit_of_work=service.unit_of_work, clock=service.clock)
    except InputInvalid as error:
        names = {**{name: name for name in form}, "tissue": "sampled", "stage": "sampled"}
        faults = faults_by_field(error, names)
        return show(visit, farm, faults=faults, form_name=kind, status=422)
    return redirect(f"/blocks/{block_id}/leaf-and-soil-tests", done="saved")


def _leaf_count(visit: Visit) -> int | None:
    if not visit.form.get("leaves"):
        return None
    count = entered_number(visit, "leaves")
    if not 1.0 <= count <= 10_000.0:
        raise InputInvalid(
            "a count is wrong",
            [Fault("leaves", f"{count:g}", marked("whole leaves, 1 to 10,000"))],
        )
    return int(count)


def _day(visit: Visit, name: str) -> date:
    text = visit.form.get(name, "")
    day = parsed_day(text)
    if day is None:
        raise InputInvalid(
            "a day is missing", [Fault(name, text[:40], marked("a day such as 2026-07-14"))]
        )
    return day
