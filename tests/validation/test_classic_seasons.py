"""The validation seasons under a forecast with a spread while nobody weighs the risk.

Every evening of a season carries the safe depth of 31 SYNTHETIC courses of the weather, as an
evening does on which another block of the farm weighs the risk. Blocks that follow the evening rule
must get the plans of a season without members, to the last bit.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from service.agronomy.block_batch import BlockBatch
from service.agronomy.block_days import CropDays, SiteDays
from service.agronomy.daily_plan import DailyPlan, plan_tomorrow
from service.agronomy.records import Floats
from service.agronomy.risk_attitude import RiskAttitude, costs_of
from service.agronomy.risk_guard import RiskGuard, WeighedRisk
from service.agronomy.safe_depth import RiskDays, safe_depth
from service.agronomy.season import SeasonRun
from service.agronomy.water_balance import DayLedger
from service.agronomy.weather_members import MemberBatch, MemberOrigin
from tests.validation.season_scenarios import SCENARIOS, season

MEMBERS = 31
LATER_DAY_MM = 5.0


def storms_and_dry_spells(weather: SiteDays) -> MemberBatch:
    """SYNTHETIC courses of a day that no plan would ignore that saw them."""
    dice = np.random.default_rng(int(weather.days[0].astype(np.int64)))
    shape = (weather.rain_mm.shape[1], MEMBERS, weather.days.size)
    return MemberBatch(
        days=weather.days,
        rain_mm=np.where(dice.random(shape) < 0.4, 12.0, 0.0),
        et0_mm=dice.uniform(3.5, 6.5, shape),
        weights=np.full(shape[:2], 1.0 / MEMBERS),
        origin=np.full(shape[0], MemberOrigin.ENSEMBLE, dtype=np.int64),
    )


def weighed(
    blocks: BlockBatch,
    weather: SiteDays,
    crop: CropDays,
    depletion_mm: Floats,
    attitude: RiskAttitude,
) -> WeighedRisk:
    """The safe depth of every block of an evening, all under one attitude."""
    count = depletion_mm.size
    attitudes = np.full(count, attitude, dtype=np.int64)
    days = RiskDays(
        site_index=blocks.site_index,
        soil=blocks.soil,
        depletion_midnight_mm=np.minimum(depletion_mm, crop.taw_mm[0]),
        crop_coefficient=crop.crop_coefficient,
        zone_share=np.ones(crop.taw_mm.shape),
        taw_mm=crop.taw_mm,
        table_depletion_fraction=blocks.crop.depletion_fraction,
        is_dormant=crop.is_dormant,
        later_day_mm=np.full(count, LATER_DAY_MM),
        rain_room_fraction=blocks.system.rain_room_fraction,
    )
    depth = safe_depth(days, storms_and_dry_spells(weather), costs_of(attitudes))
    assert depth.has_members.all()
    none = np.full(count, RiskGuard.NONE, dtype=np.int64)
    return WeighedRisk(attitudes, none, depth, smallest_mm=np.full(count, 0.5))


def run_under(attitude: RiskAttitude, scenario: str, monkeypatch: pytest.MonkeyPatch) -> SeasonRun:
    """The season with members on every evening."""

    def plan(
        blocks: BlockBatch, weather: SiteDays, crop: CropDays, *,
        depletion_midnight_mm: Floats, **others: Any,
    ) -> DailyPlan:  # fmt: skip
        return plan_tomorrow(
            blocks, weather, crop, depletion_midnight_mm=depletion_midnight_mm,
            risk=weighed(blocks, weather, crop, depletion_midnight_mm, attitude), **others,
        )  # fmt: skip

    monkeypatch.setattr("service.agronomy.season.plan_tomorrow", plan)
    return season.__wrapped__(scenario).season


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_the_evening_rule_plans_the_same_to_the_last_bit_with_members_and_without(
    scenario: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    without = season(scenario).season
    members = run_under(RiskAttitude.CLASSIC, scenario, monkeypatch)
    for name in (field.name for field in fields(SeasonRun)):
        own, other = getattr(members, name), getattr(without, name)
        if isinstance(own, np.ndarray):
            np.testing.assert_array_equal(own, other, err_msg=name)
    for field in fields(DayLedger):
        np.testing.assert_array_equal(
            getattr(members.ledger, field.name), getattr(without.ledger, field.name), field.name
        )
    assert len(members.pulses) == len(without.pulses)
    for own_day, other_day in zip(members.pulses, without.pulses, strict=True):
        for field in fields(own_day):
            np.testing.assert_array_equal(
                getattr(own_day, field.name), getattr(other_day, field.name), field.name
            )


def test_the_same_members_change_the_plans_of_who_weighs_the_risk(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    classic = season("rain").season
    balanced = run_under(RiskAttitude.BALANCED, "rain", monkeypatch)
    assert np.any(balanced.need_mm != classic.need_mm, axis=0).all()
