"""The season calendar of a farm: the dated tasks of its blocks in the coming twelve months.

Everything follows from what is stored: crop and place of each block, its watering season, and the
days of its tests. Nothing is stored here, so that a new test or another season shows at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import InputInvalid
from service.nutrition.season_tasks import HORIZON_DAYS, group_tasks, season_tasks
from service.nutrition.soil_ph import SulfurPart
from service.nutrition.tables import crops_of_block
from service.nutrition.task_days import BlockSeason, TakenSample
from service.nutrition.task_words import TaskKind
from service.operations.nutrition.plan_nutrients import PlanRequest, plan_nutrients
from service.operations.waterworks.report_water import find_supply_key
from service.records.farms import BlockDefinition
from service.records.season import SeasonCalendar
from service.records.waterworks import WaterSample
from service.waterworks.caution import ACID_CAUTIONS, INJECTION_ESTIMATE, Advisory
from service.waterworks.crop_water import crop_classes
from service.waterworks.head_checks import HEAD_PRESSURE
from service.waterworks.water_analysis import analysis_from_readings
from service.waterworks.water_report import Grade

_CAUTIONS: Mapping[TaskKind, tuple[Advisory, ...]] = {
    TaskKind.START_UP: (HEAD_PRESSURE,),
    TaskKind.END_OF_SEASON: (HEAD_PRESSURE,),
    TaskKind.NITROGEN: (INJECTION_ESTIMATE,),
    TaskKind.ACID: ACID_CAUTIONS,
}


def plan_season(farm_id: str, *, on: date, unit_of_work: UnitOfWorkFactory) -> SeasonCalendar:
    """The tasks of a farm's blocks that are open on a day or open within a year.

    Raises NotFound for an unknown farm.
    """
    with unit_of_work(write=False) as unit:
        farm = unit.blocks.get_farm(farm_id)
        blocks = unit.blocks.list_blocks(farm_id=farm_id, day=on)
        facts = _facts(unit, blocks)
    for block in blocks:
        parts = _sulfur_parts(block, facts[block.block_id], on, unit_of_work)
        facts[block.block_id] = replace(facts[block.block_id], sulfur_parts=parts)
    tasks = group_tasks({key: season_tasks(each, on) for key, each in facts.items()})
    kinds = {each.task.kind for each in tasks}
    return SeasonCalendar(
        farm_id=farm.farm_id,
        farm_name=farm.name,
        unit_system=farm.unit_system,
        first_day=on,
        last_day=on + timedelta(days=HORIZON_DAYS - 1),
        tasks=tasks,
        block_names={block.block_id: block.name for block in blocks},
        cautions_by_kind={kind: texts for kind, texts in _CAUTIONS.items() if kind in kinds},
    )


def _facts(unit: UnitOfWork, blocks: list[BlockDefinition]) -> dict[str, BlockSeason]:
    """What is stored of each block, without its plan of sulfur."""
    site_ids = sorted({block.site_id for block in blocks})
    keys = np.array([unit.blocks.get_site_key(each) for each in site_ids], dtype=np.int64)
    latitudes = {
        site.site_id: site.latitude_deg for site in unit.blocks.read_site_table(keys).definitions
    }
    supplies = {block.supply_id: block.farm_id for block in blocks}
    waters = {
        supply_id: unit.waterworks.list_samples(find_supply_key(unit, farm_id, supply_id))
        for supply_id, farm_id in supplies.items()
    }
    found = {}
    for block in blocks:
        key = unit.blocks.get_block_key(block.block_id)
        tests = unit.nutrition.list_tests(key)
        caught = unit.waterworks.list_catch_tests(key)
        water = waters[block.supply_id]
        found[block.block_id] = BlockSeason(
            crop_key=block.crop_key,
            latitude_deg=latitudes[block.site_id],
            watering_start_doy=block.watering_start_doy,
            watering_end_doy=block.watering_end_doy,
            last_nitrogen_doy=block.last_nitrogen_doy,
            supply_id=block.supply_id,
            samples=tuple(
                TakenSample(each.crop, each.tissue, each.stage, each.day)
                for each in tests
                if each.kind != "soil"
            ),
            soil_day=max((each.day for each in tests if each.kind == "soil"), default=None),
            catch_day=max((each.day for each in caught), default=None),
            water_day=max((each.day for each in water), default=None),
            water_needs_acid=_needs_acid(water, block.crop_key),
        )
    return found


def _needs_acid(samples: list[WaterSample], crop_key: str) -> bool | None:
    """Whether the newest analysis has more alkalinity than a crop of acid soils bears."""
    if not samples:
        return None
    classes = crop_classes(analysis_from_readings(samples[0].readings), crop_key)
    grades = [each.grade for each in classes if each.name == "alkalinity_meq_per_l"]
    return grades[0] is not Grade.NONE if grades else None


def _sulfur_parts(
    block: BlockDefinition, facts: BlockSeason, on: date, unit_of_work: UnitOfWorkFactory
) -> tuple[SulfurPart, ...]:
    """The split of the season's plan; none where there is no such plan."""
    kinds = crops_of_block(block.crop_key)
    if facts.soil_day is None or not kinds or not all(each.ph.is_acid for each in kinds):
        return ()
    tested = [each.crop for each in facts.samples[:1]]
    # Sulfur depends on the pH that is wanted, which kinds of an acid-loving crop share.
    request = PlanRequest(crop=(tested or [kinds[0].key])[0])
    try:
        plan = plan_nutrients(block.block_id, request, on=on, unit_of_work=unit_of_work).plan
    except InputInvalid:
        return ()
    return () if plan.sulfur is None else plan.sulfur.parts
