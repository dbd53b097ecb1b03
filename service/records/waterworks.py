"""Catch tests, water samples, flow findings and fertigation orders."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from service.waterworks.acid import TitrationPoint
from service.waterworks.fertiliser import Product
from service.waterworks.water_analysis import Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchTest:
    """Volumes caught in equal times at emitters spread over a block."""

    block_id: str
    day: date
    caught_ml: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterSample:
    """A laboratory's report on the water of a supply, as it was written."""

    farm_id: str
    supply_id: str
    day: date
    """On which the sample was taken."""
    laboratory: str
    readings: tuple[Reading, ...]
    temperature_c: float
    """Of the water in the pipes."""
    titration: tuple[TitrationPoint, ...] = ()
    """Of the same water with strong acid, if one was made."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AcidTreatment:
    """Acid that went into a block's water on one day, all of that day together."""

    block_id: str
    day: date
    acid_key: str
    strength_pct: float
    """Weight of pure acid in the product."""
    product_l: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowFinding:
    """What the metered runs of a block showed on a day."""

    block_id: str
    day: date
    """Of the last run looked at."""
    verdict: str
    """Name of a flow verdict."""
    document: Mapping[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class FertigationOrder:
    """An order to inject fertiliser into one block on one day, and the equipment for it."""

    block_id: str
    day: date
    product_kg: tuple[tuple[Product, float], ...]
    """Product to inject that day."""
    stock_l: float
    """Volume of stock solution that holds it."""
    temperature_c: float
    """Lowest tank temperature."""
    injector_lowest_l_per_h: float
    injector_highest_l_per_h: float
    largest_added_min: int = 0
    """Minutes of water that may be added to make the injection fit."""
    fill_min: float | None = None
    """None: from the block's pipes."""
    travel_min: float | None = None
    """None: from the block's pipes."""
    water_ec_ds_m: float = 0.0
    is_ammonium_preferred: bool = False
    last_nitrogen_day: date | None = None
