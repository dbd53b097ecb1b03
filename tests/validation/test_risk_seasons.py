"""The safe depth against twenty seasons of real rain, and against a search of all depths.

What the rows are held against is a calculation of the same seasons made apart from this program,
with other draws of the forecasts' errors. Figures: the validation record.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from service.agronomy.records import Floats
from service.agronomy.risk_attitude import RiskAttitude, costs_of
from service.agronomy.safe_depth import SafeDepth, safe_depth
from tests.validation.risk_seasons import (
    FIELDS,
    YEARS,
    Evening,
    Field,
    Fields,
    Totals,
    book_day,
    evenings,
    run_season,
)

TOLERANCE_MM, TOLERANCE_COST = 3.0, 15.0
APART = {
    ("berry, sandy loam", "rule"): (405.0, 448.0),
    ("berry, sandy loam", "balanced"): (379.0, 410.0),
    ("berry, loamy sand", "rule"): (447.0, 533.0),
    ("berry, loamy sand", "balanced"): (411.0, 497.0),
}
"""Net irrigation [mm] and cost of a mean season, as calculated apart."""
SEARCH_DAYS, SEARCH_STEPS = 3, 9
OWED_SHARE = 0.7
"""What a millimetre that is still missing at the end is counted at; at 1 water now and water later
would cost the same, and the search would fill for nothing."""


def evening_rule(fields: Fields, evening: Evening, depletion: Floats) -> tuple[Floats, Floats]:
    """Trigger 0.7 and rain room 0.3 of RAW, rain counted by its chance from 0.3 on."""
    site = fields.site_index
    rain, et0 = evening.rain_mm[site], evening.et0_mm[site]
    entering = np.where(rain < 0.2 * et0, 0.0, rain * fields.wetted)
    chance = evening.wet_chance[site]
    room = np.maximum(0.0, depletion - np.where(chance >= 0.3, chance * entering, 0.0))
    raw, planned = fields.raw_mm(fields.kc * et0), room + fields.kc * et0
    depth = np.where(planned >= 0.7 * raw, np.maximum(0.0, planned - 0.3 * raw), 0.0)
    depth = np.minimum(depth, fields.largest_mm)
    return np.where(depth < fields.smallest_mm, 0.0, depth), room


def decide(fields: Fields, evening: Evening, depletion: Floats, attitude: int) -> SafeDepth:
    costs = costs_of(np.full(depletion.size, attitude))
    return safe_depth(fields.risk_days(depletion), evening.members, costs)


def given(fields: Fields, depth: SafeDepth) -> Floats:
    """The depth within the limits of the system."""
    limited = np.clip(depth.need_mm, fields.smallest_mm, fields.largest_mm)
    return np.where(depth.need_mm > 0.0, limited, 0.0)


@cache
def berries() -> Fields:
    return Fields(list(FIELDS.values()))


class Kept(NamedTuple):
    """A season and its evenings, (evenings, blocks)."""

    totals: Totals
    fraction: Floats
    """q*"""
    must: NDArray[np.bool_]
    """Water had to be given."""
    short: NDArray[np.bool_]
    """The day ended beyond readily available water."""


@cache
def season(attitude: int) -> Kept:
    fields = berries()
    shape = (len(evenings()), fields.site_index.size)
    fraction, (must, short) = np.zeros(shape), np.zeros((2, *shape), dtype=np.bool_)
    row = iter(range(shape[0]))

    def rule(evening: Evening, depletion: Floats) -> tuple[Floats, Floats]:
        if attitude == RiskAttitude.CLASSIC:
            return evening_rule(fields, evening, depletion)
        depth = decide(fields, evening, depletion, attitude)
        water, day = given(fields, depth), next(row)
        end = book_day(fields, evening, depletion, water, depth.wet_depletion_mm)[0]
        raw = fields.raw_mm(fields.kc * evening.true_et0_mm[fields.site_index])
        fraction[day], must[day], short[day] = depth.credit_fraction, depth.must_mm > 0.0, end > raw
        return water, depth.wet_depletion_mm

    return Kept(run_season(fields, rule), fraction, must, short)


@pytest.mark.parametrize(("field", "rule"), APART)
def test_seasons_use_and_cost_what_was_calculated_apart(field: str, rule: str) -> None:
    attitude = RiskAttitude.CLASSIC if rule == "rule" else RiskAttitude.BALANCED
    totals = season(attitude).totals
    own = berries().of_field == list(FIELDS).index(field)
    net_mm, cost = APART[field, rule]
    assert totals.net_mm[own].mean() == pytest.approx(net_mm, abs=TOLERANCE_MM)
    assert totals.cost[own].mean() == pytest.approx(cost, abs=TOLERANCE_COST)


@pytest.mark.parametrize(
    "attitude", [RiskAttitude.CAREFUL_CROP, RiskAttitude.BALANCED, RiskAttitude.CAREFUL_WATER]
)
@pytest.mark.parametrize("field", range(len(FIELDS)))
@pytest.mark.parametrize("had_to_water", [False, True])
def test_with_calibrated_members_days_end_short_no_oftener_than_allowed(
    attitude: int, field: int, had_to_water: bool
) -> None:
    _, fraction, must, short = season(attitude)
    own = (must == had_to_water) & (berries().of_field == field)
    spread = np.sqrt((fraction[own] * (1.0 - fraction[own])).sum()) / own.sum()
    assert own.sum() > 500
    assert short[own].mean() <= fraction[own].mean() + 3.0 * spread


def test_a_search_of_all_depths_hardly_beats_the_closed_form() -> None:
    """200 invented blocks outside the guards, each in one year, on every twelfth evening."""
    random = np.random.default_rng(3)
    fields = Fields(
        [
            Field(
                wetted_fraction=random.choice([0.33, 0.4, 0.6, 1.0]),
                taw_mm=random.uniform(8.0, 80.0),
                table_depletion_fraction=random.uniform(0.35, 0.6),
                crop_coefficient=random.uniform(0.5, 1.1),
                smallest_mm=0.5,
                largest_mm=9.0,
            )
            for _ in range(200)
        ],
        year_index=random.integers(0, YEARS.size, 200),
    )
    excess, best = np.zeros((2, 200))
    depletion = np.zeros(200)
    for place, evening in enumerate(evenings()):
        depth = decide(fields, evening, depletion, RiskAttitude.BALANCED)
        water = given(fields, depth)
        if place % 12 == 0:
            found = _least_cost(fields, evening, depletion)
            excess += _expected_cost(fields, evening, depletion, water) - found
            best += found
        depletion = book_day(fields, evening, depletion, water, depth.wet_depletion_mm)[0]
    assert (excess / best).max() < 0.05
    assert excess.sum() / best.sum() < 0.02


def _least_cost(fields: Fields, evening: Evening, depletion: Floats) -> Floats:
    """Expected cost of the best of nine depths, from none to what would refill the zone."""
    et0 = evening.members.et0_mm[fields.site_index, :, 0].mean(axis=1)
    top = np.clip(depletion + fields.kc * et0, fields.smallest_mm, fields.largest_mm)
    steps = np.linspace(0.0, 1.0, SEARCH_STEPS - 1)
    depths = [
        0.0 * top,
        *(fields.smallest_mm + step * (top - fields.smallest_mm) for step in steps),
    ]
    return np.asarray(
        np.min([_expected_cost(fields, evening, depletion, each) for each in depths], axis=0)
    )


def _expected_cost(fields: Fields, evening: Evening, depletion: Floats, water: Floats) -> Floats:
    """Expected cost of tomorrow's depth over the members; later days fill to 0.8 of RAW."""
    members, site = evening.members, fields.site_index
    column = fields.columns()
    left = np.repeat(depletion[:, np.newaxis], members.rain_mm.shape[1], axis=1)
    depth = np.repeat(water[:, np.newaxis], left.shape[1], axis=1)
    cost = np.zeros(depletion.size)
    for day in range(SEARCH_DAYS):
        rain, et0 = members.rain_mm[site, :, day], members.et0_mm[site, :, day]
        mean_et = (fields.kc * et0.mean(axis=1))[:, np.newaxis]
        raw = column.raw_mm(mean_et)
        entering = np.where(rain < 0.2 * et0, 0.0, rain * column.wetted)
        room = np.maximum(0.0, left - np.quantile(entering, 0.1, axis=1)[:, np.newaxis])
        if day > 0:
            planned = room + mean_et
            depth = np.where(planned >= 0.95 * raw, np.maximum(0.0, planned - 0.8 * raw), 0.0)
            depth = np.minimum(depth, column.largest_mm)
            depth = np.where(depth < column.smallest_mm, 0.0, depth)
        left, drained, lost = column.step(left, (rain, et0), (depth, room), raw)
        cost += (depth + drained + 40.0 * lost).mean(axis=1)
    return np.asarray(cost + OWED_SHARE * left.mean(axis=1))
