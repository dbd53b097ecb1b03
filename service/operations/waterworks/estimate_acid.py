"""How much acid a water would take: an estimate with its cautions, never an instruction.

The newest analysis of the supply decides; a titration that was entered with it beats the model, and
below pH 5.5 nothing is said without one: there a few per cent of the dose decide over the pH. How
low a pH may be asked for depends on crop, duration and installation. What the water passes behind
the injector, the injections and the price are stated with each estimate and not stored.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from service.database.session import UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.reading.block_pipes import expected_flow_l_per_h, travel_times_min
from service.operations.waterworks.record_acid import GivenAcid, given_acid
from service.operations.waterworks.report_water import check_sample, newest_sample
from service.operations.waterworks.watered_depths import (
    NutrientLoad,
    nutrient_loads,
    year_water_mm,
)
from service.records.farms import BlockDefinition
from service.records.waterworks import WaterSample
from service.unit_sizes import L_PER_GALLON
from service.waterworks.acid import CONTINUOUS_LINE_PH, AcidDose, acid_dose
from service.waterworks.acid_amounts import (
    MOST_INJECTIONS,
    AcidInjection,
    AcidPrice,
    SeasonAcid,
    acid_injection,
    season_acid,
)
from service.waterworks.acid_limits import AcidLimit, acid_limit
from service.waterworks.acid_sensitivity import DoseShift, ph_by_dose, steepness
from service.waterworks.caution import IRON_OXIDATION, Advisory
from service.waterworks.feeding_limits import season_excess
from service.waterworks.water_analysis import WaterAnalysis, carbonate_water

ML_PER_L = 1000.0
IRON_LIMIT_MG_PER_L = 0.1
"""Iron from which on it clogs emitters; Bucks, Nakayama & Gilbert 1979 (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AcidRequest:
    """Which acid, and to which pH."""

    target_ph: float
    acid_key: str
    strength_pct: float
    """Weight of pure acid in the product."""
    density_kg_per_l: float | None = None
    """Of the product's label; None: from the table."""
    is_chlorine_injected: bool = False
    crop_key: str | None = None
    """None: that of the block, where there is one."""
    materials: tuple[str, ...] = ()
    """All that the acid water passes behind the injector; none: not stated."""
    injection_min: float | None = None
    """Of one short, supervised injection; None: acid during the whole irrigation."""
    injection_count: int | None = None
    """Such injections in the season."""
    tank_l_per_h: float | None = None
    """What the injector takes from its tank of diluted acid."""
    season_water_mm: float | None = None
    """Water of a season over the ground; None: the ledger's last year."""
    price: AcidPrice | None = None


@dataclass(frozen=True, slots=True)
class AcidEstimate:
    """A dose for a water, with where its numbers come from."""

    sample: WaterSample
    block_id: str | None
    flow_l_per_h: float | None
    flow_origin: str
    dose: AcidDose
    acid_l_per_1000_gal: float | None
    """Product for so many US gallons of water, as labels there count."""
    analysis_advisories: tuple[Advisory, ...]
    """What is doubtful about the analysis behind it."""
    limit: AcidLimit
    """The lowest pH that may be asked for here, and why."""
    ph_by_dose: tuple[DoseShift, ...]
    """The pH at a few per cent less and more of the dose, by the model."""
    dose_advisories: tuple[Advisory, ...]
    """What the dose may not be relied on for."""
    loads: tuple[NutrientLoad, ...] = ()
    """What the acid feeds with the water of the plan and of the season."""
    injection: AcidInjection | None = None
    """None where no minutes were given, or no block whose flow is known."""
    season: SeasonAcid | None = None
    """None where the water that takes acid is not known."""
    given: GivenAcid | None = None
    """Acid of this calendar year as it was recorded; None where no block was named."""
    season_origin: str = ""
    """Where the water of the season comes from, or why it is not known."""

    @property
    def advisories(self) -> tuple[Advisory, ...]:
        """All that is to be known beside the cautions."""
        of_injection = () if self.injection is None else self.injection.advisories
        return (
            *self.analysis_advisories,
            *self.dose.advisories,
            *self.dose_advisories,
            *of_injection,
        )


def estimate_acid(
    sample: WaterSample, request: AcidRequest, *, block: BlockDefinition | None = None
) -> AcidEstimate:
    """The dose for a water; raises InputInvalid for one that cannot or must not be computed."""
    analysis = check_sample(sample)
    flow, origin = (None, "") if block is None else expected_flow_l_per_h(block)
    crop_key = request.crop_key or (None if block is None else block.crop_key)
    limit = acid_limit(crop_key, request.injection_min, request.materials)
    _refuse_too_low(sample, request.target_ph, limit)
    water = carbonate_water(analysis, sample.temperature_c)
    dose = acid_dose(
        water,
        request.target_ph,
        acid_key=request.acid_key,
        strength_pct=request.strength_pct,
        density_kg_per_l=request.density_kg_per_l,
        flow_l_per_h=flow,
        titration=sample.titration,
        is_chlorine_injected=request.is_chlorine_injected,
    )
    per_m3 = dose.acid_ml_per_m3
    shifts = ph_by_dose(water, request.acid_key, dose.model_dose_mmol_per_l)
    season, season_origin = _season(dose, request, flow, block)
    return AcidEstimate(
        sample=sample,
        block_id=None if block is None else block.block_id,
        flow_l_per_h=flow,
        flow_origin=origin,
        dose=dose,
        acid_l_per_1000_gal=None if per_m3 is None else per_m3 * L_PER_GALLON / ML_PER_L,
        analysis_advisories=analysis.advisories,
        ph_by_dose=shifts,
        dose_advisories=_dose_advisories(shifts, analysis),
        limit=limit,
        injection=_injection(dose, request, flow, block),
        season=season,
        season_origin=season_origin,
    )


def alkalinity_left_meq_per_l(sample: WaterSample, target_ph: float) -> float:
    """Alkalinity that is left in a water brought to a pH, by any acid; raises InputInvalid."""
    _refuse_too_low(sample, target_ph, None)
    dose = acid_dose(
        carbonate_water(check_sample(sample), sample.temperature_c),
        target_ph,
        acid_key="sulfuric",
        strength_pct=93.0,
        titration=sample.titration,
    )
    return dose.alkalinity_left_meq_per_l


def _refuse_too_low(sample: WaterSample, target_ph: float, limit: AcidLimit | None) -> None:
    faults = []
    if target_ph < CONTINUOUS_LINE_PH and not sample.titration:
        allowed = (
            f"pH {CONTINUOUS_LINE_PH:g} or more, or a titration of this water: below it a few per"
            " cent of the dose decide between a harmless and a corrosive water, and no analysis is"
            " that good"
        )
        faults.append(Fault("target_ph", f"{target_ph:g}", allowed))
    if limit is not None and target_ph < limit.lowest_ph:
        allowed = f"pH {limit.lowest_ph:g} or more here. {limit.binding.text}"
        faults.append(Fault("target_ph", f"{target_ph:g}", allowed))
    if faults:
        raise InputInvalid("no dose is given for so low a pH", faults)


def _injection(
    dose: AcidDose, request: AcidRequest, flow: float | None, block: BlockDefinition | None
) -> AcidInjection | None:
    if request.injection_min is None or flow is None or block is None:
        return None
    return acid_injection(
        dose,
        request.injection_min,
        flow,
        tank_l_per_h=request.tank_l_per_h,
        travel_min=_travel_min(block),
    )


def _travel_min(block: BlockDefinition) -> float | None:
    """None where pipes are not described, or water does not reach every emitter."""
    if block.layout is None:
        return None
    try:
        return travel_times_min(block)[1]
    except InputInvalid:
        return None


def _season(
    dose: AcidDose, request: AcidRequest, flow: float | None, block: BlockDefinition | None
) -> tuple[SeasonAcid | None, str]:
    """The acid of a season, and where its water comes from."""
    water_mm, origin = request.season_water_mm, "given"
    if request.injection_min is not None:
        if request.injection_count is None:
            return None, "how many injections the season has was not said"
        if not 1 <= request.injection_count <= MOST_INJECTIONS:
            found, allowed = f"{request.injection_count}", f"1 to {MOST_INJECTIONS}"
            raise InputInvalid(
                "this season cannot be added up", [Fault("injection_count", found, allowed)]
            )
        if flow is None or block is None:
            return None, "no block was named whose flow is known"
        hours = request.injection_min * request.injection_count / 60.0
        water_mm = flow * hours / block.area_m2  # 1 L on 1 m2 is 1 mm
        origin = "the injections alone, at the flow of the block"
    if water_mm is None:
        return None, "no water of a season was given"
    area_m2 = None if block is None else block.area_m2
    return season_acid(dose, water_mm, area_m2=area_m2, price=request.price), origin


def _dose_advisories(
    shifts: tuple[DoseShift, ...], analysis: WaterAnalysis
) -> tuple[Advisory, ...]:
    steep = steepness(shifts)
    found = [] if steep is None else [steep]
    if analysis.iron_mg_per_l is None or analysis.iron_mg_per_l >= IRON_LIMIT_MG_PER_L:
        found.append(IRON_OXIDATION)
    return tuple(found)


def estimate_block_acid(
    block_id: str, request: AcidRequest, *, on: date, unit_of_work: UnitOfWorkFactory
) -> AcidEstimate:
    """The dose for the newest analysis of a block's supply, as a rate for the block's flow."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
        past_mm = year_water_mm(unit, block_id, on)
        given = given_acid(unit, block_id, first_day=on.replace(month=1, day=1), last_day=on)
    sample = newest_sample(block.farm_id, block.supply_id, unit_of_work=unit_of_work)
    is_past = request.season_water_mm is None and past_mm is not None
    asked = replace(request, season_water_mm=past_mm) if is_past else request
    found = replace(estimate_acid(sample, asked, block=block), given=given)
    if is_past and request.injection_min is None:
        found = replace(found, season_origin="the ledger's last year")
    if found.dose.nutrient is None:
        return found
    with unit_of_work(write=False) as unit:
        loads = nutrient_loads(
            unit,
            block_id,
            nutrient=found.dose.nutrient,
            nutrient_g_per_m3=found.dose.nutrient_g_per_m3,
            on=on,
        )
    too_much = _load_advisories(loads, found.season)
    return replace(found, loads=loads, dose_advisories=(*found.dose_advisories, *too_much))


def _load_advisories(
    loads: tuple[NutrientLoad, ...], season: SeasonAcid | None
) -> tuple[Advisory, ...]:
    """A warning where the acid alone feeds more in a season than is common."""
    brought = [(load.nutrient, load.load_kg_per_ha) for load in loads[-1:]]
    if season is not None and season.nutrient is not None:
        brought.append((season.nutrient, season.nutrient_kg_per_ha))
    if not brought:
        return ()
    nutrient, kg_per_ha = max(brought, key=lambda each: each[1])
    return season_excess(nutrient, kg_per_ha)
