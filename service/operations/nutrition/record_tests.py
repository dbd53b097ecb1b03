"""Leaf, petiole and soil tests: entered as laboratories print them, stored by block, and classed.

The classes are recomputed from the stored values on each request, so that a better range shows for
old tests too; the edition of the ranges at the time is kept with the test.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.nutrition.leaf_classes import LeafClass, LeafResult, leaf_result
from service.nutrition.readings import plant_values, soil_values
from service.nutrition.sampling import ProtocolCheck, check_protocol
from service.nutrition.soil_classes import SoilCard, soil_card
from service.nutrition.tables import (
    LeafRow,
    NutritionCrop,
    crops_of_block,
    find_nutrition_crop,
    leaf_row,
    leaf_rows,
)
from service.operations.reading.last_nitrogen import block_latitude
from service.operations.reading.read_farms import today_at_block
from service.operations.waterworks.catch_tests import refuse_coming_day
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import BlockDefinition, LoadOutcome
from service.records.nutrition import NutrientTest

TITLE = "this test cannot be used"
REPEATED_DAYS = 21
"""Samples this close together are of one state of the plant: the newest counts."""
CONTRADICTION = 2
"""Classes between two such samples from which a third is asked for."""


@dataclass(frozen=True, slots=True)
class NutrientReport:
    """A test and what it says."""

    test: NutrientTest
    values: dict[str, float]
    """% and ppm of a leaf; mg/kg and others of a soil."""
    check: ProtocolCheck | None
    """Of a leaf or petiole sample."""
    leaf: LeafResult | None
    row: LeafRow | None
    soil: tuple[SoilCard, ...]
    notes: tuple[str, ...] = ()


def record_test(
    test: NutrientTest, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> tuple[NutrientReport, LoadOutcome]:
    """Store a test; the same again changes nothing. Raises InputInvalid with every fault."""
    with unit_of_work(write=True) as unit:
        return store_test(unit, test, now=clock.now())


def store_test(
    unit: UnitOfWork, test: NutrientTest, *, now: datetime
) -> tuple[NutrientReport, LoadOutcome]:
    """Store a test in a unit of work that its caller owns; as ``record_test``.

    Crop, tissue and stage of a leaf are filled in where there is one choice.
    """
    today = today_at_block(unit, test.block_id, now)
    refuse_coming_day(TITLE, test.day, today=today)
    block = unit.blocks.get_block(test.block_id, day=today)
    whole = complete_test(replace(test, block_id=block.block_id), block)
    report = report_test(whole, block, latitude_deg=block_latitude(unit, block))
    key = unit.blocks.get_block_key(block.block_id)
    what = (whole.day, whole.kind, whole.tissue, whole.stage)
    before = next(
        (
            each
            for each in unit.nutrition.list_tests(key)
            if (each.day, each.kind, each.tissue, each.stage) == what
        ),
        None,
    )
    outcome = unit.nutrition.save_test(key, whole, recorded_at=now)
    unit.audit.note(
        Subject.NUTRIENT_TEST, block.block_id, farm_id=block.farm_id, before=before, after=whole
    )
    return report, outcome


def remove_test(block_id: str, *, day: date, kind: str, unit_of_work: UnitOfWorkFactory) -> int:
    """Delete the tests of a kind of one day; raises NotFound if there is none."""
    with unit_of_work(write=True) as unit:
        key = unit.blocks.get_block_key(block_id)
        farm_id = unit.blocks.get_farm_of(block_id).farm_id
        for test in unit.nutrition.list_tests(key):
            if (test.day, test.kind) == (day, kind):
                unit.audit.note(Subject.NUTRIENT_TEST, block_id, farm_id=farm_id, before=test)
        removed = unit.nutrition.remove_tests(key, day=day, kind=kind)
    if not removed:
        raise NotFound(f"block {block_id} has no {kind} test of {day}")
    return removed


def list_reports(
    block_id: str,
    *,
    on: date,
    chosen_rows: Sequence[str] = (),
    unit_of_work: UnitOfWorkFactory,
) -> list[NutrientReport]:
    """The tests of a block with what they say, the newest first."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
        tests = unit.nutrition.list_tests(unit.blocks.get_block_key(block_id))
        latitude_deg = block_latitude(unit, block)
    return compared(
        [
            report_test(each, block, latitude_deg=latitude_deg, chosen_rows=chosen_rows)
            for each in tests
        ]
    )


def complete_test(test: NutrientTest, block: BlockDefinition) -> NutrientTest:
    """The test with crop, tissue and stage filled in where there is one choice."""
    if not test.readings:
        raise InputInvalid(TITLE, [Fault("readings", "nothing", "at least one value")])
    edition = leaf_rows()[0].edition
    if test.kind == "soil":
        return replace(test, crop="", tissue="", stage="", tables_edition=edition)
    crop = crop_of(block, test.crop)
    tissues = sorted({each.tissue for each in crop.windows})
    fitting = [name for name in tissues if (name == "petiole") == (test.kind == "petiole")]
    tissue = test.tissue or (fitting[0] if len(fitting) == 1 else "")
    stages = [each.stage for each in crop.windows if each.tissue == tissue]
    stage = test.stage or (stages[0] if len(stages) == 1 else "")
    faults = []
    if not tissue:
        faults.append(Fault("tissue", "nothing", f"one of {', '.join(fitting or tissues)}"))
    elif not stage:
        faults.append(Fault("stage", "nothing", f"one of {', '.join(stages) or 'its own'}"))
    if faults:
        raise InputInvalid(TITLE, faults)
    return replace(test, crop=crop.key, tissue=tissue, stage=stage, tables_edition=edition)


def crop_of(block: BlockDefinition, given: str = "") -> NutritionCrop:
    """The crop of nutrition of a block: as given, or the only one that its crop can be."""
    if given:
        return find_nutrition_crop(given)
    known = crops_of_block(block.crop_key)
    if len(known) == 1:
        return known[0]
    allowed = f"one of {', '.join(each.key for each in known)}"
    if not known:
        allowed = "another crop: no leaf ranges are known here for this block's"
    raise InputInvalid(
        "it is not known which crop's ranges apply", [Fault("crop", block.crop_key, allowed)]
    )


def report_test(
    test: NutrientTest,
    block: BlockDefinition,
    *,
    latitude_deg: float,
    chosen_rows: Sequence[str] = (),
) -> NutrientReport:
    """What a test says, by the laboratory's own ranges and then by published ones."""
    if test.kind == "soil":
        return _soil_report(test, block, chosen_rows)
    values = plant_values(test.readings)
    crop = find_nutrition_crop(test.crop)
    check = check_protocol(
        crop,
        tissue=test.tissue,
        stage=test.stage,
        day=test.day,
        leaf_count=test.leaf_count,
        latitude_deg=latitude_deg,
        last_spray_day=test.last_spray_day,
        is_washed=test.is_washed,
    )
    row = leaf_row(crop.key, test.tissue, test.stage, chosen=chosen_rows)
    result = leaf_result(
        values,
        crop,
        row=row,
        own_ranges=test.own_ranges,
        is_classed=check.is_classed,
        is_less_certain=check.is_less_certain,
        censored=tuple(each.nutrient for each in test.readings if each.is_below_detection),
    )
    return NutrientReport(test, values, check, result, row, ())


def _soil_report(
    test: NutrientTest, block: BlockDefinition, chosen_rows: Sequence[str]
) -> NutrientReport:
    values = soil_values(test.readings)
    known = crops_of_block(block.crop_key)
    cards = [
        soil_card(
            name,
            values[name],
            known[0],
            extractant="hot-water" if name == "B" else test.extractant,
            soil_ph=values.get("pH"),
            cec=values.get("cec"),
            chosen=chosen_rows,
        )
        for name in ("P", "K", "Mg", "B")
        if name in values and known
    ]
    return NutrientReport(test, values, None, None, None, tuple(cards))


def compared(reports: list[NutrientReport]) -> list[NutrientReport]:
    """The same, with a note where two samples of one tissue within three weeks contradict."""
    found = []
    for place, report in enumerate(reports):
        notes = []
        for other in reports[place + 1 :]:
            apart = (report.test.day - other.test.day).days
            is_same = (report.test.kind, report.test.tissue) == (other.test.kind, other.test.tissue)
            if is_same and 0 < apart <= REPEATED_DAYS:
                notes.append(
                    f"Sampled again {apart} days after {other.test.day}: the newest counts."
                )
                apart_by = _contradicted(report, other)
                if apart_by:
                    notes.append(f"{', '.join(apart_by)} contradict: take a third sample.")
        found.append(replace(report, notes=tuple(notes)))
    return found


def _contradicted(one: NutrientReport, other: NutrientReport) -> list[str]:
    if one.leaf is None or other.leaf is None:
        return []
    before = {each.nutrient: each.leaf_class for each in other.leaf.cards}
    return [
        each.nutrient
        for each in one.leaf.cards
        if LeafClass.UNKNOWN not in (each.leaf_class, before.get(each.nutrient, LeafClass.UNKNOWN))
        and abs(each.leaf_class - before[each.nutrient]) > CONTRADICTION
    ]
