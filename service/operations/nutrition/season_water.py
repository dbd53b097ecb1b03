"""What a season's water brings to a block: from the supply's newest analysis and the ledger.

Acid counts as it was recorded over the last year; where the request says to which pH the water is
brought, the alkalinity that is left follows from the analysis as in an acid estimate instead.
"""

from __future__ import annotations

from datetime import date, timedelta

from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.nutrition.season_facts import WaterFacts
from service.operations.waterworks.estimate_acid import alkalinity_left_meq_per_l
from service.operations.waterworks.record_acid import given_acid
from service.operations.waterworks.report_water import find_supply_key
from service.operations.waterworks.watered_depths import year_water_mm
from service.records.farms import BlockDefinition
from service.records.waterworks import WaterSample
from service.waterworks.water_analysis import WaterAnalysis, analysis_from_readings

OLD_TEST_DAYS = 365
MG_PER_MEQ_CARBONATE = 50.04


def season_water(
    unit: UnitOfWork,
    block: BlockDefinition,
    *,
    on: date,
    planned_mm: float | None,
    acidified_ph: float | None,
    origins: list[tuple[str, str]],
) -> WaterFacts:
    """The water's nitrate, alkalinity and depth; where each comes from is added to ``origins``.

    Raises InputInvalid for a pH that acid cannot or may not bring the water to.
    """
    samples = unit.waterworks.list_samples(find_supply_key(unit, block.farm_id, block.supply_id))
    analysis = WaterAnalysis() if not samples else analysis_from_readings(samples[0].readings)
    if samples:
        origins.append(("water", f"analysis of {samples[0].day}"))
    if planned_mm is not None:
        origins.append(("season's water", "given"))
    else:
        planned_mm = year_water_mm(unit, block.block_id, on)
        if planned_mm is not None:
            origins.append(("season's water", f"{planned_mm:.0f} mm, the ledger's last year"))
    alkalinity = analysis.alkalinity_meq_per_l
    if acidified_ph is not None:
        alkalinity = _alkalinity_left(samples, acidified_ph)
        origins.append(("alkalinity", f"what is left in water brought to pH {acidified_ph:g}"))
    given = given_acid(
        unit, block.block_id, first_day=on - timedelta(days=OLD_TEST_DAYS), last_day=on
    )
    if given.treatments and acidified_ph is None:
        origins.append(("acid", f"{len(given.treatments)} days of it, recorded in the last year"))
    return WaterFacts(
        nitrate_nitrogen_mg_per_l=analysis.nitrate_nitrogen_mg_per_l,
        alkalinity_mg_per_l=None if alkalinity is None else MG_PER_MEQ_CARBONATE * alkalinity,
        planned_mm=planned_mm,
        is_old=bool(samples) and (on - samples[0].day).days > OLD_TEST_DAYS,
        acidified_ph=acidified_ph,
        acid_carbonate_kg_per_ha=0.0 if acidified_ph is not None else given.carbonate_kg_per_ha,
    )


def _alkalinity_left(samples: list[WaterSample], ph: float) -> float:
    if not samples:
        raise InputInvalid(
            "this plan cannot be made",
            [Fault("acidified_ph", f"{ph:g}", "a stored water analysis of the supply first")],
        )
    try:
        return alkalinity_left_meq_per_l(samples[0], ph)
    except InputInvalid as error:
        faults = [Fault("acidified_ph", each.found, each.allowed) for each in error.faults]
        raise InputInvalid("this plan cannot be made", faults) from error
