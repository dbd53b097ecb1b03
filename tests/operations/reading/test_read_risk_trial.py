"""What weighing the forecast would have done in a block, read from its days on paper."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from service.agronomy.risk_guard import RiskGuard
from service.bootstrap import Service
from service.delivery.trial_words import trial_sentence
from service.errors import InputInvalid, NotFound
from service.operations.reading.read_risk_trial import (
    RiskTrial,
    read_risk_trial,
    trial_document,
)
from service.records.shadow import SHADOW_NUMBERS, ShadowFlag, ShadowRows
from service.translations.wording import wording
from tests.api.invented_farm import BLOCK_ID, FARM_ID, TODAY

DAYS = 62


def keep_days(
    service: Service,
    day_count: int = DAYS,
    *,
    dormant_count: int = 0,
    guards: int | None = None,
    **changed: float,
) -> None:
    """Invented days on paper up to yesterday: 14 mm less, 6 mm less drained, a day short more.

    guards: of every day; changed: other totals.
    """
    days = np.arange(np.datetime64(TODAY) - day_count, np.datetime64(TODAY))
    share = np.full(day_count, 1.0 / (day_count - dormant_count))
    totals = dict(
        zip(SHADOW_NUMBERS, (148.0, 18.0, 0.0, 124.0, 134.0, 12.0, 0.2, 186.0), strict=True)
    )
    totals |= changed
    flags = np.zeros(day_count, dtype=np.int64)
    flags[3] = int(ShadowFlag.WEIGHED_SHORT)
    flags[day_count - dormant_count :] |= int(ShadowFlag.DORMANT)
    guard_of = np.full(day_count, guards or 0)
    guard_of[:2] = RiskGuard.NO_SPREAD, RiskGuard.SHORTFALL
    with service.unit_of_work(write=True) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        (farm_key,) = unit.blocks.farm_keys([FARM_ID]).values()
        unit.shadows.save(
            np.full(day_count, farm_key),
            ShadowRows(
                block_keys=np.full(day_count, key),
                days=days,
                guards=guard_of,
                flags=flags,
                numbers={name: total * share for name, total in totals.items()},
            ),
        )


def read(service: Service, first: date | None = None, last: date | None = None) -> RiskTrial:
    return read_risk_trial(
        BLOCK_ID, first_day=first, last_day=last, unit_of_work=service.unit_of_work,
        clock=service.clock,
    )  # fmt: skip


def test_the_two_rules_are_summed_side_by_side(own_service: Service) -> None:
    keep_days(own_service)
    found = read(own_service)
    assert found.is_kept and found.sums is not None
    sums = found.sums
    assert (sums.day_count, sums.spread_day_count, sums.weighed_day_count) == (62, 61, 60)
    assert sums.last_day == TODAY - timedelta(days=1)
    assert sums.rule.net_mm - sums.weighed.net_mm == pytest.approx(14.0, abs=0.4)
    assert (sums.rule.short_day_count, sums.weighed.short_day_count) == (0, 1)
    weighed = sums.weighed
    # The cost of balanced is 1 : 1 : 40 for water, drainage and lost use [CHOICE].
    assert weighed.risk_cost_mm == pytest.approx(
        weighed.net_mm + weighed.drainage_mm + 40.0 * weighed.lost_et_mm
    )
    text = trial_sentence(sums, wording("en", "si"))
    assert text == (
        "On paper, over the last 62 days, weighing the forecast (balanced) would have used 14.3 mm"
        " less water, drained 6.2 mm less and left the block short of water on 1 day more than the"
        " evening rule."
    )
    assert "62 días" in trial_sentence(sums, wording("es", "si"))


def test_what_came_to_the_same_is_named_once(own_service: Service) -> None:
    keep_days(own_service)
    sums = read(own_service).sums
    assert sums is not None
    like = sums.rule
    less_water = replace(like, net_mm=like.net_mm - 4.0)
    same = trial_sentence(replace(sums, weighed=like), wording("en", "si"))
    some = trial_sentence(replace(sums, weighed=less_water), wording("en", "si"))
    assert "would have come to the same water, drainage and days short of water" in same
    assert some.endswith(
        "would have used 4.0 mm less water than the evening rule. The two come to the same drainage"
        " and days short of water."
    )


def test_days_outside_the_watering_season_are_not_summed(own_service: Service) -> None:
    keep_days(own_service, dormant_count=10)
    found = read(own_service)
    assert found.sums is not None and found.sums.day_count == 52
    days = trial_document(found)["days"]
    assert isinstance(days, list) and sum(day["is_dormant"] for day in days) == 10


def test_a_span_is_summed_alone_and_one_without_days_on_paper_has_no_sums(
    own_service: Service,
) -> None:
    keep_days(own_service)
    found = read(own_service, TODAY - timedelta(days=10), TODAY - timedelta(days=4))
    assert found.sums is not None and found.sums.day_count == 7
    early = read(own_service, date(2025, 5, 1), date(2025, 6, 1))
    assert early.sums is None and trial_document(early)["rule"] is None


def test_a_wrong_span_and_an_unknown_block_are_refused(own_service: Service) -> None:
    with pytest.raises(InputInvalid, match="cannot be read"):
        read(own_service, TODAY, TODAY - timedelta(days=1))
    with pytest.raises(InputInvalid, match="cannot be read"):
        read(own_service, date(2024, 1, 1), TODAY)
    with pytest.raises(NotFound):
        read_risk_trial(
            "test-farm.west", unit_of_work=own_service.unit_of_work, clock=own_service.clock
        )
