"""Acid that was given: stored by day, added up, counted in the season and the soil's balance."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.nutrition.plan_nutrients import PlanRequest, plan_nutrients
from service.operations.waterworks.estimate_acid import AcidRequest, estimate_block_acid
from service.operations.waterworks.record_acid import list_acid, record_acid, remove_acid
from service.records.waterworks import AcidTreatment
from tests.api.invented_farm import BLOCK_ID, TODAY
from tests.operations.nutrition.test_plan_nutrients import with_tests

TREATMENT = AcidTreatment(
    block_id=BLOCK_ID,
    day=date(2026, 6, 2),
    acid_key="sulfuric",
    strength_pct=93.0,
    product_l=10.0,
)


def record(service: Service, treatment: AcidTreatment = TREATMENT) -> None:
    record_acid(treatment, unit_of_work=service.unit_of_work, clock=service.clock)


def test_acid_is_added_up_with_what_it_brought(own_service: Service) -> None:
    record(own_service)
    record(own_service)  # the same again changes nothing
    record(own_service, replace(TREATMENT, day=date(2026, 6, 20), product_l=5.0))
    record(own_service, replace(TREATMENT, day=date(2025, 12, 31)))  # of another year
    found = list_acid(BLOCK_ID, on=TODAY, unit_of_work=own_service.unit_of_work)
    assert [each.product_l for each in found.treatments] == [10.0, 5.0]
    assert found.amount.product_kg == pytest.approx(15.0 * 1.8279)
    with own_service.unit_of_work(write=False) as unit:
        area_ha = unit.blocks.get_block(BLOCK_ID, day=TODAY).area_m2 / 10_000.0
    # By hand: 27.42 kg x 0.93 are 25.5 kg of H2SO4, 8.34 kg of sulfur, 520 eq, 26.0 kg of CaCO3.
    assert found.nutrient_kg_per_ha["sulfur"] == pytest.approx(8.335 / area_ha, rel=1e-3)
    assert found.carbonate_kg_per_ha == pytest.approx(26.02 / area_ha, rel=1e-3)


def test_another_record_for_a_day_replaces_it_and_it_can_be_deleted(own_service: Service) -> None:
    record(own_service)
    record(own_service, replace(TREATMENT, product_l=4.0))
    found = list_acid(BLOCK_ID, on=TODAY, unit_of_work=own_service.unit_of_work)
    assert [each.product_l for each in found.treatments] == [4.0]
    remove_acid(BLOCK_ID, day=TREATMENT.day, unit_of_work=own_service.unit_of_work)
    assert not list_acid(BLOCK_ID, on=TODAY, unit_of_work=own_service.unit_of_work).treatments
    with pytest.raises(NotFound):
        remove_acid(BLOCK_ID, day=TREATMENT.day, unit_of_work=own_service.unit_of_work)


@pytest.mark.parametrize(
    ("changed", "where"),
    [
        (replace(TREATMENT, acid_key="vinegar"), "acid_key"),
        (replace(TREATMENT, strength_pct=0.93), "strength_pct"),
        (replace(TREATMENT, strength_pct=99.5), "strength_pct"),
        (replace(TREATMENT, acid_key="citric", strength_pct=100.0), "strength_pct"),
        (replace(TREATMENT, product_l=0.0), "product_l"),
        (replace(TREATMENT, product_l=float("nan")), "product_l"),
        (replace(TREATMENT, day=TODAY + timedelta(days=1)), "day"),
    ],
)
def test_what_cannot_have_been_given_is_refused_and_not_stored(
    own_service: Service, changed: AcidTreatment, where: str
) -> None:
    with pytest.raises(InputInvalid) as refusal:
        record(own_service, changed)
    assert refusal.value.faults[0].where == where
    assert not list_acid(BLOCK_ID, on=TODAY, unit_of_work=own_service.unit_of_work).treatments


def test_the_estimate_shows_what_was_given_and_the_soil_balance_counts_it(
    own_service: Service,
) -> None:
    service = with_tests(own_service)

    def balance(acidified_ph: float | None = None) -> float:
        found = plan_nutrients(
            BLOCK_ID, PlanRequest(planned_mm=250.0, acidified_ph=acidified_ph), on=TODAY,
            unit_of_work=service.unit_of_work,
        ).plan  # fmt: skip
        assert found.carbonate_balance_kg_per_ha is not None
        return found.carbonate_balance_kg_per_ha

    before, planned = balance(), balance(5.5)
    record(service)
    given = list_acid(BLOCK_ID, on=TODAY, unit_of_work=service.unit_of_work)
    assert before - balance() == pytest.approx(given.carbonate_kg_per_ha)
    assert balance(5.5) == planned  # the alkalinity left at a pH has the acid in it already
    request = AcidRequest(target_ph=6.5, acid_key="sulfuric", strength_pct=93.0)
    found = estimate_block_acid(BLOCK_ID, request, on=TODAY, unit_of_work=service.unit_of_work)
    assert found.given == given
