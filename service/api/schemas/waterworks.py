"""Pipes, water and fertilizer: requests and answers.

Anything hazardous carries ``cautions``, which a client must show beside the number.
"""

from __future__ import annotations

import dataclasses
import enum
import math
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Self

import numpy as np
from pydantic import Field

from service.api.dependencies import CalendarDate
from service.api.schemas.bodies import Body
from service.api.schemas.facts import Out
from service.api.schemas.queries import In
from service.operations.evening.plan_rows import SHOWN_DECIMALS
from service.operations.reading.block_pipes import PipeReport
from service.operations.waterworks.assess_capacity import Capacity
from service.operations.waterworks.assess_supply import COMMON_YEAR_COUNT, MOST_YEAR_COUNT
from service.operations.waterworks.catch_tests import CatchReport
from service.operations.waterworks.report_water import CropReport
from service.records.waterworks import FertigationOrder, WaterSample
from service.waterworks.fertiliser import Product

MOST_VOLUMES = 500
MOST_READINGS = 40
MOST_POINTS = 100
MOST_PRODUCTS = 10


def plain(value: object) -> Any:
    """A record as plain JSON values; numbers that are not known become null."""
    if isinstance(value, enum.IntEnum):
        return value.name.lower()
    if isinstance(value, enum.Enum):
        return value.value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {each.name: plain(getattr(value, each.name)) for each in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(name): plain(each) for name, each in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, float):
        return round(value, SHOWN_DECIMALS) if math.isfinite(value) else None
    return value


class AdvisoryOut(Out):
    """Something the reader of the result must know."""

    key: str = Field(description="Machine-readable name; new names may be added.")
    text: str = Field(description="The same as text.")


class HydraulicsQuery(In):
    """Selects the uniformity a row should reach."""

    target_uniformity_pct: float = Field(
        90.0, ge=50.0, le=99.9, description="EU for which the longest row is sought, %."
    )


class SpanQuery(In):
    """Selects the days."""

    first_day: CalendarDate | None = Field(
        None, alias="from", description="First local day.", examples=["2026-04-01"]
    )
    last_day: CalendarDate | None = Field(
        None, alias="to", description="Last local day.", examples=["2026-10-31"]
    )


# --- pipes ---------------------------------------------------------------------------------------


class RowOut(Out):
    """The row that gets the least, emitter by emitter from its inlet."""

    inlet_head_m: float = Field(description="Pressure head at its inlet, m.")
    emitter_flow_l_per_h: list[float] = Field(description="Flow of each emitter, L/h.")
    emitter_head_m: list[float] = Field(description="Pressure head at each emitter, m.")
    first_dry_emitter: int | None = Field(
        description="First emitter, counted from 1, beyond which nothing flows; null: all flow."
    )
    design_uniformity_pct: float = Field(description="Design emission uniformity of the row, %.")


class LongestRowOut(Out):
    """The longest row that still reaches a uniformity."""

    target_uniformity_pct: float = Field(description="Uniformity that was looked for, %.")
    emitter_count: int = Field(description="Emitters of that row; 0: not even one does.")
    length_m: float = Field(description="Its length, m.")
    is_search_limit: bool = Field(description="True: an even longer row may reach it too.")


class FlushOut(Out):
    """Flows while the end of a row is open, at 0.3 m/s."""

    end_flow_l_per_h: float = Field(description="Out of the open end, L/h.")
    line_flow_l_per_h: float = Field(description="At the row's inlet, L/h.")
    lines_at_once_count: int = Field(description="Rows that the rows' own flow flushes together.")


class HydraulicsOut(Out):
    """A block's pipes, solved."""

    name: str = Field(description="Block, `farm.block`.")
    inlet_head_m: float = Field(description="Pressure head at the block, behind a regulator, m.")
    inlet_flow_l_per_h: float = Field(description="Flow of the rows described, L/h.")
    counted_flow_l_per_h: float | None = Field(
        description="Flow of the whole block, for acid, fertilizer and flow check, L/h."
    )
    counted_flow_origin: str
    takeoff_head_m: list[float] = Field(description="Pressure head at each row's inlet, m.")
    design_uniformity_pct: float = Field(description="Design emission uniformity, EU, %.")
    low_quarter_uniformity_pct: float = Field(description="Low quarter of the flows alone, %.")
    lowest_over_mean_ratio: float = Field(description="Lowest over mean emitter flow.")
    dry_emitter_count: int = Field(description="Emitters that water does not reach.")
    outside_range_count: int = Field(description="Emitters outside of their compensating range.")
    row: RowOut
    longest_row: LongestRowOut
    volume_l: float | None = Field(description="Water that the pipes hold, L.")
    fill_time_min: float | None = Field(description="Time to fill empty pipes, min.")
    most_travel_min: float | None = Field(description="Travel time to 95 % of the emitters, min.")
    last_travel_min: float | None = Field(description="Travel time to the last emitter, min.")
    flush: FlushOut | None = Field(description="Flushing a row by its open end.")
    regulator_findings: list[str] = Field(description="Findings outside the regulator's range.")
    cautions: list[str] = Field(description="Problems with these pipes, as text.")

    @classmethod
    def from_record(cls, report: PipeReport) -> Self:
        """The answer."""
        return cls.model_validate(
            {
                **plain(report.block),
                **{
                    name: plain(getattr(report.travel, name))
                    for name in ("volume_l", "fill_time_min", "most_travel_min", "last_travel_min")
                },
                "name": report.name,
                "counted_flow_l_per_h": plain(report.counted_flow_l_per_h),
                "counted_flow_origin": report.counted_flow_origin,
                "flush": plain(report.flush),
                "row": {**plain(report.row), "first_dry_emitter": report.row.first_dry_emitter},
                "longest_row": {
                    **plain(report.longest),
                    "target_uniformity_pct": report.target_uniformity_pct,
                },
                "regulator_findings": [finding.value for finding in report.findings],
                "cautions": list(report.cautions),
            }
        )


class CatchTestIn(Body):
    """Volumes caught in equal times at emitters spread over the block."""

    caught_ml: list[float] = Field(
        min_length=16,
        max_length=MOST_VOLUMES,
        description="Volume of each emitter, mL; four places on each of four rows or more.",
    )
    is_used: bool = Field(False, description="True: plans use the uniformity found, from today on.")


class CatchTestOut(Out):
    """A field test of emitters."""

    block_id: str
    day: date
    sample_count: int = Field(description="Emitters caught.")
    emission_uniformity_pct: float = Field(description="Low quarter over mean, %.")
    emission_uniformity_low_pct: float = Field(description="Lower end of its interval, %.")
    emission_uniformity_high_pct: float = Field(description="Upper end of its interval, %.")
    confidence_pct: float = Field(description="Confidence of that interval, %.")
    statistical_uniformity_pct: float = Field(description="100 (1 - sd / mean), %.")
    christiansen_uniformity_pct: float = Field(description="Christiansen's coefficient, %.")
    plan_uniformity_pct: float = Field(description="Uniformity that the plan uses, %.")
    plan_origin: str = Field(description="Where that number comes from.")

    @classmethod
    def from_record(cls, report: CatchReport) -> Self:
        """The answer."""
        return cls.model_validate(
            {
                **plain(report.uniformity),
                "block_id": report.test.block_id,
                "day": report.test.day,
                "plan_uniformity_pct": plain(report.plan_uniformity_pct),
                "plan_origin": report.plan_origin,
            }
        )


class CatchTestListOut(Out):
    """Field tests of a block."""

    items: list[CatchTestOut] = Field(description="The newest first.")


# --- water ---------------------------------------------------------------------------------------


class ReadingIn(Body):
    """One line of a laboratory's report."""

    quantity: str = Field(
        pattern="^[a-z-]{2,20}$", description="`ph`, `ec`, `alkalinity`, `calcium`, `iron`, ..."
    )
    value: float = Field(description="The number as printed.", ge=0.0, le=1e9)
    unit: str = Field(
        "", max_length=30, description="As printed: `mg/L`, `uS/cm`, `mg/L as CaCO3`, ..."
    )
    is_below_detection: bool = Field(False, description="The report says less than this value.")


class TitrationPointIn(Body):
    """A step of a titration."""

    dose_meq_per_l: float = Field(
        ge=0.0, le=100.0, description="Strong acid added so far per liter of water, meq/L."
    )
    ph: float = Field(gt=0.0, lt=14.0, description="pH that it reached.")


class WaterSampleIn(Body):
    """A laboratory's report on a supply's water."""

    laboratory: str = Field(
        "not named", min_length=1, max_length=120, description="Laboratory that analyzed it."
    )
    temperature_c: float = Field(
        20.0, ge=0.0, le=40.0, description="Of the water in the pipes, degrees Celsius."
    )
    readings: list[ReadingIn] = Field(min_length=1, max_length=MOST_READINGS)
    titration: list[TitrationPointIn] = Field(
        [], max_length=MOST_POINTS, description="Titration of the same water, if there is one."
    )


class ReadingOut(Out):
    """One line of a laboratory's report."""

    quantity: str
    value: float = Field(description="The number as printed.")
    unit: str
    is_below_detection: bool


class WaterSampleOut(Out):
    """A stored report."""

    supply_id: str = Field(description="Supply, `farm.supply`.")
    day: date
    laboratory: str
    temperature_c: float = Field(description="Of the water in the pipes, degrees Celsius.")
    readings: list[ReadingOut]
    titration_count: int = Field(description="Points of the titration; 0: none was made.")
    advisories: list[AdvisoryOut] = Field(description="Doubts about the analysis.")

    @classmethod
    def from_record(cls, sample: WaterSample, advisories: object) -> Self:
        """The answer."""
        return cls.model_validate(
            {
                **plain(sample),
                "supply_id": f"{sample.farm_id}.{sample.supply_id}",
                "titration_count": len(sample.titration),
                "advisories": plain(advisories),
            }
        )


class WaterSampleListOut(Out):
    """Reports on a supply's water."""

    items: list[WaterSampleOut] = Field(description="The newest first.")


class WaterClassOut(Out):
    """The class of one property in a published table."""

    name: str = Field(description="Machine-readable name.")
    label: str
    value: float | None = Field(description="Value in the unit given beside it.")
    unit: str
    grade: str = Field(description="`none`, `moderate` or `severe`.")
    word: str = Field(description="The source's own word.")
    limits: str
    source: str
    advice: str = Field(description="What an adviser commonly does about it.")


class SaturationOut(Out):
    """Scaling tendency of the water."""

    calcite_index: float | None = Field(description="log10 of ion product over solubility product.")
    langelier_index: float | None = Field(description="pH less saturation pH.")
    word: str = Field(description="`dissolves`, `neutral` or `scales`.")
    advice: str


class SalinityOut(Out):
    """Leaching and yield of the crop with this water."""

    leaching_requirement_fraction: float | None = Field(
        description="Surface and sprinkler irrigation; null: no leaching is enough."
    )
    drip_leaching_requirement_fraction: float | None = Field(
        description="Frequent drip irrigation; null: no leaching is enough."
    )
    leaching_fraction: float = Field(description="Leaching that the two below assume.")
    expected_soil_salinity_ds_m: float = Field(description="Without any rain, dS/m.")
    relative_yield_pct: float = Field(description="At that salinity, %.")
    advice: str


class NutrientLoadOut(Out):
    """What of a nutrient the acid brings with the water of a span of days."""

    nutrient: str
    first_day: date
    last_day: date
    gross_mm: float = Field(description="Water of these days, mm.")
    load_kg_per_ha: float = Field(description="Nutrient with it, kg/ha.")


class MissingOut(Out):
    """A value that is not known."""

    name: str
    needed_for: str = Field(description="What cannot be determined without it.")


class WaterReportOut(Out):
    """What the newest analysis of a block's supply means for its crop."""

    block_id: str | None
    supply_id: str = Field(description="Supply, `farm.supply`.")
    day: date = Field(description="Day of the sample.")
    crop_key: str | None
    charge_difference_pct: float | None = Field(
        description="100 (cations - anions) / (cations + anions), %; null: an ion is missing."
    )
    sodium_adsorption_ratio: float | None = Field(description="SAR.")
    restrictions: list[WaterClassOut] = Field(description="Restrictions on use, FAO-29.")
    crop_classes: list[WaterClassOut] = Field(
        description="By limits of the crop itself: boron, chloride, alkalinity, EC."
    )
    clogging: list[WaterClassOut] = Field(description="Clogging hazard of emitters.")
    saturation: SaturationOut | None
    salinity: SalinityOut | None
    plan_leaching_fraction: float | None = Field(
        description=("Leaching fraction that the block's plan uses.")
    )
    plan_origin: str
    nitrogen_loads: list[NutrientLoadOut] = Field(
        description="Nitrogen of the water's nitrate: with the newest plan, and the year so far."
    )
    missing: list[MissingOut]
    advisories: list[AdvisoryOut] = Field(description="Doubts about the analysis.")
    cautions: list[str]

    @classmethod
    def from_record(cls, found: CropReport) -> Self:
        """The answer."""
        report, balance = found.report, found.report.analysis.charge_balance
        return cls.model_validate(
            {
                **plain(report),
                "block_id": found.block_id,
                "supply_id": f"{found.sample.farm_id}.{found.sample.supply_id}",
                "day": found.sample.day,
                "crop_key": None if found.crop is None else found.crop.key,
                "charge_difference_pct": None if balance is None else plain(balance.difference_pct),
                "plan_leaching_fraction": plain(found.plan_leaching_fraction),
                "plan_origin": found.plan_origin,
                "crop_classes": plain(found.crop_classes),
                "nitrogen_loads": plain(found.nitrogen_loads),
                "missing": plain(report.analysis.missing),
                "cautions": list(found.cautions),
            }
        )


# --- capacity ------------------------------------------------------------------------------------


class CapacityQuery(In):
    """Selects the number of summers."""

    years: int = Field(
        COMMON_YEAR_COUNT,
        ge=1,
        le=MOST_YEAR_COUNT,
        description="Calendar years back whose whole summers are scheduled.",
        examples=[5],
    )


class SummerOut(Out):
    """One summer with things as they are."""

    first_day: date
    last_day: date
    is_kept: bool = Field(description="Every block stayed within its readily available water.")
    largest_excess_mm: float = Field(
        description="Largest depletion of an evening beyond it, of any block, mm; negative: below."
    )


class SupplyChangeOut(Out):
    """A possible change to a supply, and its effect."""

    name: str
    text: str
    kept_share: float | None = Field(
        description="Share of summers in which every block keeps up, 0 to 1; null: cannot be done."
    )
    reason: str = Field(description="Why it cannot be done.")


class PeakOut(Out):
    """Peak demand on a supply over consecutive days, at a share of years."""

    span_days: int = Field(description="Days in a row.")
    year_share: float = Field(description="Share of years that stay below, 0 to 1.")
    net_mm: float = Field(description="Net depth over these days, mm.")
    gross_mm: float = Field(description="Gross depth over these days, mm.")
    needed_flow_l_per_h: float = Field(description="Flow that supplies it in the open hours, L/h.")
    carried_ha: float | None = Field(description="Area that the supply can irrigate, ha.")


class DesignPeakOut(Out):
    """Peak crop water use, from the summers and from the shaded area as designers calculate it."""

    summer_use_mm: float = Field(
        description="Weekly use not exceeded in nine years out of ten, mm."
    )
    shade_use_mm: float = Field(description="The same by Keller & Bliesner 1990, mm.")


class CapacityOut(Out):
    """Whether pump and windows of a supply keep up in the summers on record."""

    supply_id: str
    flow_l_per_h: float = Field(description="Flow of the supply, L/h.")
    area_ha: float = Field(description="Area of its blocks, ha.")
    open_time_h: float = Field(description="Hours of a day in which any of them may run, h.")
    block_ids: list[str]
    summers: list[SummerOut]
    flow_l_per_s_per_ha: float = Field(description="Flow of the supply, L/s per ha.")
    largest_block_id: str = Field(description="Block with the largest flow when it runs alone.")
    largest_block_flow_l_per_h: float = Field(description="Flow of that block, L/h.")
    changes: list[SupplyChangeOut] = Field(description="The first entry is the present state.")
    peaks: list[PeakOut]
    design_peak: DesignPeakOut
    left_out: list[str] = Field(
        description="Summers left out for want of weather, with the reason."
    )
    cautions: list[str]

    @classmethod
    def from_record(cls, supply_id: str, found: Capacity) -> Self:
        """The answer; the capacity is that of one supply."""
        (supply,) = found.supplies
        return cls.model_validate(
            {
                **plain(supply),
                "supply_id": supply_id,
                "flow_l_per_s_per_ha": plain(supply.flow_l_per_h / 3600.0 / supply.area_ha),
                "largest_block_id": supply.largest.block_id,
                "largest_block_flow_l_per_h": plain(supply.largest.flow_l_per_h),
                "summers": [
                    {
                        "first_day": summer.first_day,
                        "last_day": summer.last_day,
                        "is_kept": all(summer.keeps_up),
                        "largest_excess_mm": plain(float(summer.largest_excess_mm.max())),
                    }
                    for summer in supply.summers
                ],
                "left_out": list(found.left_out),
                "cautions": list(found.cautions),
            }
        )


# --- fertiliser ----------------------------------------------------------------------------------


class FertiliserOut(Out):
    """A product, as shares of its weight, elements throughout."""

    key: str
    name: str
    nitrogen_fraction: float = Field(description="Nitrogen of all forms.")
    phosphorus_fraction: float = Field(description="Phosphorus, P.")
    potassium_fraction: float = Field(description="Potassium, K.")
    calcium_fraction: float = Field(description="Calcium, Ca.")
    magnesium_fraction: float = Field(description="Magnesium, Mg.")
    sulfur_fraction: float = Field(description="Sulfur, S.")
    source: str
    nitrate_nitrogen_fraction: float = Field(description="Nitrogen as nitrate.")
    ammonium_nitrogen_fraction: float = Field(description="Nitrogen as ammonium.")
    urea_nitrogen_fraction: float = Field(description="Nitrogen as urea.")
    chloride_fraction: float = Field(description="Chloride, Cl.")
    iron_fraction: float = Field(description="Iron, Fe.")
    manganese_fraction: float = Field(description="Manganese, Mn.")
    zinc_fraction: float = Field(description="Zinc, Zn.")
    copper_fraction: float = Field(description="Copper, Cu.")
    boron_fraction: float = Field(description="Boron, B.")
    molybdenum_fraction: float = Field(description="Molybdenum, Mo.")

    @classmethod
    def from_record(cls, product: Product) -> Self:
        """The answer."""
        return cls.model_validate(
            {**plain(product), "nitrogen_fraction": plain(product.nitrogen_fraction)}
        )


class FertiliserListOut(Out):
    """Available products."""

    items: list[FertiliserOut]


class ProductAmountIn(Body):
    """An amount of a product."""

    product_key: str = Field(pattern="^[a-z0-9][a-z0-9-]{0,39}$", description="Key of a product.")
    mass_kg: float = Field(gt=0.0, le=100_000.0, description="Amount injected that day, kg.")


class FertigationIn(Body):
    """An injection order for a block and day."""

    products: list[ProductAmountIn] = Field(min_length=1, max_length=MOST_PRODUCTS)
    stock_l: float = Field(gt=0.0, le=1e6, description="Volume of stock solution, L.")
    temperature_c: float = Field(
        ge=0.0, le=40.0, description="Lowest tank temperature, degrees Celsius."
    )
    injector_lowest_l_per_h: float = Field(
        ge=0.0, le=1e5, description="Smallest rate of the injector, L/h."
    )
    injector_highest_l_per_h: float = Field(
        gt=0.0, le=1e5, description="Largest rate of the injector, L/h."
    )
    largest_added_min: int = Field(
        0, ge=0, le=600, description="Extra run time allowed to make it fit, min."
    )
    travel_min: float | None = Field(
        None,
        gt=0.0,
        le=600.0,
        description=(
            "Travel time from the injector to the last emitter, min; defaults to the "
            "value from the block's pipes."
        ),
    )
    last_nitrogen_day: CalendarDate | None = Field(
        None,
        strict=False,
        description="Last day for nitrogen; defaults to the block's own, or to that of its crop and"
        " place.",
    )
    is_late_nitrogen_confirmed: bool = Field(
        False,
        description="Nitrogen after the last day for it is meant; such an order is refused"
        " otherwise.",
    )


class ProductAmountOut(Out):
    """An amount of a product."""

    product_key: str
    name: str
    mass_kg: float = Field(description="Amount injected that day, kg.")


class FertigationOut(Out):
    """A stored injection order for a block and day."""

    cautions: list[AdvisoryOut] = Field(
        description="Cautions for every injection; must be shown, before the numbers."
    )
    block_id: str
    day: date
    products: list[ProductAmountOut]
    stock_l: float = Field(description="Volume of stock solution, L.")
    temperature_c: float = Field(description="Lowest tank temperature, degrees Celsius.")
    injector_lowest_l_per_h: float = Field(description="Smallest rate of the injector, L/h.")
    injector_highest_l_per_h: float = Field(description="Largest rate of the injector, L/h.")
    largest_added_min: int = Field(description="Extra run time allowed, min.")
    travel_min: float | None = Field(
        description=("Travel time to the last emitter, min; null: from the pipes.")
    )
    last_nitrogen_day: date | None
    advisories: list[AdvisoryOut]

    @classmethod
    def from_record(cls, order: FertigationOrder, advisories: object, cautions: object) -> Self:
        """The answer."""
        return cls.model_validate(
            {
                **plain(order),
                "products": [
                    {"product_key": each.key, "name": each.name, "mass_kg": plain(mass_kg)}
                    for each, mass_kg in order.product_kg
                ],
                "advisories": plain(advisories),
                "cautions": plain(cautions),
            }
        )


class FertigationListOut(Out):
    """Injection orders of a block."""

    items: list[FertigationOut] = Field(description="By day.")


class InjectionSpanOut(Out):
    """When the injector runs."""

    start_local: datetime = Field(description="Start, local time with its offset (RFC 3339).")
    end_local: datetime = Field(description="End, local time with its offset (RFC 3339).")


class PlannedProductOut(Out):
    """An amount of a product."""

    name: str
    mass_kg: float = Field(description="Amount injected that day, kg.")


class InjectionOut(Out):
    """Fertilizer for the day: when to inject within the pulses, or why it does not fit."""

    is_possible: bool = Field(description="False: do not inject; `advisories` says why.")
    products: list[PlannedProductOut]
    stock_l: float = Field(description="Volume of stock solution, L.")
    spans: list[InjectionSpanOut] = Field(description="When the injector runs.")
    injector_l_per_h: float | None = Field(description="Rate of the injector, L/h.")
    dilution_ratio: float | None = Field(description="Liters of water per liter of stock solution.")
    ec_rise_ds_m: float | None = Field(description="Rise of the water's EC, dS/m.")
    nutrient_kg: dict[str, float] = Field(description="Elements injected, kg.")
    advisories: list[str] = Field(description="Changes made to fit it in, or why it does not fit.")
    cautions: list[str] = Field(description="Cautions for every injection; must be shown.")
