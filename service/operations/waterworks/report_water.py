"""Water analyses: entered as laboratories write them, stored by supply, and interpreted.

The report is recomputed from the stored readings on each request. With leaching turned on, the plan
of a block includes the requirement of its crop from a day on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from service.agronomy.crop_file import CropRow
from service.agronomy.crop_table import find_crop
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.operations.farms.measured_numbers import WATER_REPORT_ORIGIN, change_number
from service.operations.reading.read_farms import today_at
from service.operations.waterworks.catch_tests import refuse_coming_day
from service.operations.waterworks.watered_depths import NutrientLoad, nutrient_loads
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import BlockDefinition, LoadOutcome
from service.records.waterworks import WaterSample
from service.translations.catalogue import marked
from service.waterworks.acid import titrated_dose_meq_per_l
from service.waterworks.carbonate_form import question_form
from service.waterworks.caution import NEVER_WITH_CHLORINE
from service.waterworks.crop_water import crop_classes
from service.waterworks.water_analysis import WaterAnalysis, analysis_from_readings
from service.waterworks.water_report import (
    DRIP_LEACHING_SOURCE,
    WaterClass,
    WaterReport,
    water_report,
)

LARGEST_PLAN_LEACHING = 0.5
"""Highest fraction that a plan can use; water that needs more is not fit for irrigation."""
REPORT_LEACHING_FRACTION = 0.15
"""Leaching assumed for the expected soil salinity if the block has none; FAO-29."""
CHLORINATED = frozenset(
    {
        "bacteria_per_ml",
        "hydrogen_sulfide_mg_per_l",
        "iron_mg_per_l",
        "manganese_mg_per_l",
    }
)
"""Clogging classes for which chlorine is common practice."""
LEACHING_CAUTION = marked(
    "In humid climates the year's rain usually leaches the soil, and leaching in the season only"
    " carries nutrients away: sample the soil before it is turned on."
)


@dataclass(frozen=True, slots=True)
class CropReport:
    """A supply's water for one block's crop; or for no crop in particular."""

    sample: WaterSample
    crop: CropRow | None
    block_id: str | None
    leaching_fraction: float
    """Leaching fraction that the expected salinity assumes."""
    plan_leaching_fraction: float | None
    """What the block's plan uses now."""
    plan_origin: str
    report: WaterReport
    cautions: tuple[str, ...]
    crop_classes: tuple[WaterClass, ...] = ()
    """By limits of this crop, where there are any."""
    nitrogen_loads: tuple[NutrientLoad, ...] = ()
    """Nitrogen that the water's own nitrate brings to the block."""


def record_sample(
    sample: WaterSample, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> LoadOutcome:
    """Store an analysis; the same again changes nothing. Raises InputInvalid with every fault."""
    analysis = check_sample(sample)
    if sample.titration and analysis.ph is not None:
        titrated_dose_meq_per_l(
            sample.titration, min(each.ph for each in sample.titration), analysis.ph
        )
    with unit_of_work(write=True) as unit:
        now = clock.now()
        today = today_at(unit, sample.farm_id, now)
        refuse_coming_day("this water analysis cannot be used", sample.day, today=today)
        supply_key = find_supply_key(unit, sample.farm_id, sample.supply_id)
        stored = unit.waterworks.list_samples(supply_key)
        outcome = unit.waterworks.save_sample(supply_key, sample, recorded_at=now)
        unit.audit.note(
            Subject.WATER_SAMPLE,
            sample.supply_id,
            farm_id=sample.farm_id,
            before=next((each for each in stored if each.day == sample.day), None),
            after=sample,
        )
        return outcome


def check_sample(sample: WaterSample) -> WaterAnalysis:
    """The analysis of a sample; raises InputInvalid for one that cannot be used."""
    if not 0.0 <= sample.temperature_c <= 40.0:
        raise InputInvalid(
            "this water analysis cannot be used",
            [Fault("temperature_c", f"{sample.temperature_c:g}", "0 to 40 °C, of the water")],
        )
    return question_form(sample.readings, analysis_from_readings(sample.readings))


def list_samples(
    farm_id: str, supply_id: str, *, unit_of_work: UnitOfWorkFactory
) -> list[WaterSample]:
    """The analyses of a supply, the newest first; raises NotFound for no such supply."""
    with unit_of_work(write=False) as unit:
        return unit.waterworks.list_samples(find_supply_key(unit, farm_id, supply_id))


def newest_sample(
    farm_id: str, supply_id: str, *, day: date | None = None, unit_of_work: UnitOfWorkFactory
) -> WaterSample:
    """The newest analysis of a supply, or the one of a day; raises NotFound where there is none."""
    samples = list_samples(farm_id, supply_id, unit_of_work=unit_of_work)
    for sample in samples:
        if day in (None, sample.day):
            return sample
    when = "" if day is None else f" of {day}"
    raise NotFound(
        f"no water analysis{when} of supply {supply_id!r} is stored; `rillwright water-add` takes"
        " one"
    )


def report_sample(
    sample: WaterSample, block: BlockDefinition | None = None, *, crop_key: str | None = None
) -> CropReport:
    """What an analysis means, for a block, for a crop, or for itself."""
    analysis = check_sample(sample)
    key = block.crop_key if block is not None else crop_key
    crop = None if key is None else find_crop(key)
    own = block.leaching_fraction if block is not None else 0.0
    leaching = own if own > 0.0 else REPORT_LEACHING_FRACTION
    report = water_report(
        analysis,
        sample.temperature_c,
        salinity_threshold_ds_m=None if crop is None else crop.salinity_threshold_ds_m,
        salinity_slope_pct_per_ds_m=None if crop is None else crop.salinity_slope_pct_per_ds_m,
        leaching_fraction=leaching,
    )
    own_classes = crop_classes(analysis, key)
    # A limit for all crops must not call harmless what this one does not bear.
    judged = {each.name for each in own_classes}
    others = tuple(each for each in report.restrictions if each.name not in judged)
    report = replace(report, restrictions=others)
    return CropReport(
        sample=sample,
        crop=crop,
        block_id=None if block is None else block.block_id,
        leaching_fraction=leaching,
        plan_leaching_fraction=None if block is None else block.leaching_fraction,
        plan_origin="" if block is None else block.origins.get("leaching_fraction", ""),
        report=report,
        cautions=(LEACHING_CAUTION, *_chlorine_cautions(report)),
        crop_classes=own_classes,
    )


def _chlorine_cautions(report: WaterReport) -> tuple[str, ...]:
    """Shown wherever chlorine is common practice, since acid may be too for the same water."""
    is_advised = any(each.name in CHLORINATED and each.grade > 0 for each in report.clogging)
    return (NEVER_WITH_CHLORINE.text,) if is_advised else ()


def report_block_water(block_id: str, *, on: date, unit_of_work: UnitOfWorkFactory) -> CropReport:
    """The newest analysis of a block's supply, for its crop."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
    sample = newest_sample(block.farm_id, block.supply_id, unit_of_work=unit_of_work)
    return _with_nitrogen(report_sample(sample, block), block_id, on, unit_of_work)


def _with_nitrogen(
    found: CropReport, block_id: str, on: date, unit_of_work: UnitOfWorkFactory
) -> CropReport:
    nitrogen = found.report.analysis.nitrate_nitrogen_mg_per_l
    if nitrogen is None:
        return found
    with unit_of_work(write=False) as unit:
        loads = nutrient_loads(
            unit, block_id, nutrient="nitrogen", nutrient_g_per_m3=nitrogen, on=on
        )
    return replace(found, nitrogen_loads=loads)


def use_leaching(
    block_id: str, *, effective_day: date, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> CropReport:
    """Let a block's plan use the leaching requirement of the newest analysis.

    Raises InputInvalid where there is none to use: the crop has no published numbers, the EC is
    not known, or the water asks for more than any plan should give.
    """
    found = report_block_water(block_id, on=effective_day, unit_of_work=unit_of_work)
    outlook = found.report.salinity
    required = None if outlook is None else outlook.drip_leaching_requirement_fraction
    if required is None or required > LARGEST_PLAN_LEACHING:
        what = "not known: EC or the crop's salinity numbers are missing"
        if outlook is not None:
            what = "none: no leaching mends this water for this crop"
        if required is not None:
            what = f"{required:.2f}"
        raise InputInvalid(
            "the plan cannot use this leaching requirement",
            [Fault("leaching requirement", what, f"up to {LARGEST_PLAN_LEACHING:g}")],
        )
    with unit_of_work(write=True) as unit:
        block = change_number(
            unit,
            unit.blocks.get_block(block_id, day=effective_day),
            "leaching_fraction",
            round(required, 4),
            origin=f"{WATER_REPORT_ORIGIN} {found.sample.day}, {DRIP_LEACHING_SOURCE}",
            effective_day=effective_day,
            clock=clock,
        )
    return replace(report_sample(found.sample, block), nitrogen_loads=found.nitrogen_loads)


def find_supply_key(unit: UnitOfWork, farm_id: str, supply_id: str) -> int:
    """Integer key of a farm's supply; raises NotFound."""
    farm_key = unit.blocks.farm_keys([farm_id])[farm_id]
    table = unit.blocks.read_supply_table(np.array([farm_key], dtype=np.int64))
    keys: dict[str, int] = dict(zip(table.supply_ids, table.keys.tolist(), strict=True))
    if supply_id not in keys:
        known: Sequence[str] = table.supply_ids
        raise NotFound(
            f"supply {supply_id!r} is not one of farm {farm_id!r}; its supplies:"
            f" {', '.join(known) or 'none'}"
        )
    return keys[supply_id]
