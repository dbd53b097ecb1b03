"""The fertiliser that a published plan injects, on the clock of its site."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from service.agronomy.civil_day import wall_time
from service.records.plans import PublishedPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedInjection:
    """The injection of a published plan; without spans if it does not fit into the day."""

    is_possible: bool
    products: tuple[tuple[str, float], ...]
    """Name and mass in kg."""
    stock_l: float
    spans: tuple[tuple[datetime, datetime], ...]
    """When the injector runs, on the clock of the site."""
    injector_l_per_h: float | None
    dilution_ratio: float | None
    ec_rise_ds_m: float | None
    nutrient_kg: Mapping[str, float]
    nutrient_mg_per_l: Mapping[str, float]
    added_min: int
    advisories: tuple[str, ...]
    cautions: tuple[str, ...]


def planned_injection(plan: PublishedPlan) -> PlannedInjection | None:
    """What a plan injects; None if no fertiliser was ordered."""
    stored = plan.reasoning.fertigation
    if stored is None:
        return None
    zone = plan.weather.zone
    return PlannedInjection(
        is_possible=stored.is_possible,
        products=stored.products,
        stock_l=stored.stock_l,
        spans=tuple(
            (wall_time(plan.day, start_min, zone), wall_time(plan.day, end_min, zone))
            for start_min, end_min in stored.spans
        ),
        injector_l_per_h=stored.injector_l_per_h,
        dilution_ratio=stored.dilution_ratio,
        ec_rise_ds_m=stored.ec_rise_ds_m,
        nutrient_kg=stored.nutrient_kg,
        nutrient_mg_per_l=stored.nutrient_mg_per_l,
        added_min=stored.added_min,
        advisories=stored.advisories,
        cautions=stored.cautions,
    )
