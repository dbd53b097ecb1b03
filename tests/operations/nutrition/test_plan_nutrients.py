"""A season's plan from stored tests, with what is not stored named as a gap."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid
from service.nutrition.readings import NutrientReading
from service.nutrition.season_plan import SeasonPlan
from service.operations.nutrition.plan_nutrients import PlanRequest, plan_nutrients
from service.operations.nutrition.record_tests import record_test
from service.operations.waterworks.report_water import record_sample
from service.records.nutrition import NutrientTest
from service.records.waterworks import WaterSample
from service.waterworks.water_analysis import Reading
from tests.api.invented_farm import BLOCK_ID, FARM_ID, RUN_AT, TODAY, FixedClock
from tests.nutrition.worked_example import LEAF, SOIL


def with_tests(service: Service, texture: str = "sandy-loam") -> Service:
    clock = FixedClock(RUN_AT)
    units = dict.fromkeys(("B", "Fe", "Mn", "Zn", "Cu"), "ppm")
    leaf = NutrientTest(
        block_id=BLOCK_ID, day=date(2025, 8, 1), kind="leaf", crop="highbush-blueberry",
        leaf_count=60, recommendation="50 lb/ac of nitrogen",
        readings=tuple(NutrientReading(n, v, units.get(n, "%")) for n, v in LEAF.items()),
    )  # fmt: skip
    soil_units = {"pH": "", "cec": "meq/100 g", "organic-matter": "%"}
    soil = NutrientTest(
        block_id=BLOCK_ID, day=date(2026, 3, 1), kind="soil", extractant="mehlich-3",
        texture=texture,
        readings=tuple(NutrientReading(n, v, soil_units.get(n, "ppm")) for n, v in SOIL.items()),
    )  # fmt: skip
    for test in (leaf, soil):
        record_test(test, unit_of_work=service.unit_of_work, clock=clock)
    sample = WaterSample(
        farm_id=FARM_ID, supply_id="well", day=date(2026, 5, 1), laboratory="Invented",
        readings=(Reading("ph", 7.6, ""), Reading("alkalinity", 80.0, "mg/L CaCO3"),
                  Reading("nitrate-nitrogen", 4.0, "mg/L")),
        temperature_c=15.0,
    )  # fmt: skip
    record_sample(sample, unit_of_work=service.unit_of_work, clock=clock)
    return service


def test_the_worked_example_from_end_to_end(own_service: Service) -> None:
    found = plan_nutrients(
        BLOCK_ID,
        PlanRequest(
            season_year=2027,
            age_years=6,
            planted_share=0.33,
            base_kg_per_ha=55.0,
            last_season_kg_per_ha=55.0,
            planned_mm=250.0,
            chosen_rows=("highbush-michigan", "k-heavier"),
        ),
        on=TODAY,
        unit_of_work=with_tests(own_service).unit_of_work,
    )
    plan = found.plan
    assert plan.nitrogen is not None
    assert plan.nitrogen.total_kg_per_ha == pytest.approx(40.4, abs=0.05)
    assert [round(part.kg_per_ha, 1) for part in plan.parts] == [8.1, 10.1, 10.1, 8.1, 4.0]
    assert max(part.day for part in plan.parts) <= date(2027, 7, 31)
    assert plan.sulfur is not None and plan.sulfur.total_kg_per_ha == pytest.approx(768, abs=1)
    assert plan.carbonate_balance_kg_per_ha == pytest.approx(-16, abs=0.5)
    assert [need.kg_per_ha for need in plan.oxides] == [0.0, 0.0]
    assert found.recommendations == ("not named, 2025-08-01: 50 lb/ac of nitrogen",)


def test_without_tests_the_gaps_are_named(own_service: Service) -> None:
    found = plan_nutrients(
        BLOCK_ID,
        PlanRequest(crop="rabbiteye-blueberry"),
        on=TODAY,
        unit_of_work=own_service.unit_of_work,
    )
    said = " ".join(found.plan.gaps)
    for gap in ("leaf nitrogen", "soil test", "nitrate", "organic matter", "Last season"):
        assert gap in said
    # Planted 2019: year 8 in 2026. The last day is July 31, and today the 14th.
    assert dict(found.origins)["age"] == "year 8, planted 2019"
    assert all(TODAY <= part.day <= date(2026, 7, 31) for part in found.plan.parts)


@pytest.mark.parametrize(
    ("request_", "where"),
    [
        (PlanRequest(crop="highbush-blueberry", ph_target=6.5), "ph_target"),
        (PlanRequest(crop="highbush-blueberry", vigour="wild"), "vigour"),
        (PlanRequest(crop="highbush-blueberry", planned_mm=9999.0), "planned_mm"),
        (PlanRequest(crop="highbush-blueberry", product_key="mkp"), "product"),
        (PlanRequest(), "crop"),
    ],
)
def test_impossible_requests_are_refused_with_what_is_allowed(
    own_service: Service, request_: PlanRequest, where: str
) -> None:
    with pytest.raises(InputInvalid) as refused:
        plan_nutrients(BLOCK_ID, request_, on=TODAY, unit_of_work=own_service.unit_of_work)
    assert refused.value.faults[0].where == where


def test_what_the_harvest_carries_off_is_given_back(own_service: Service) -> None:
    service = with_tests(own_service)

    def plan(**given: Any) -> SeasonPlan:
        return plan_nutrients(
            BLOCK_ID,
            PlanRequest(season_year=2027, age_years=6, base_kg_per_ha=20.0, **given),
            on=TODAY,
            unit_of_work=service.unit_of_work,
        ).plan

    poor, fed = plan(), plan(removal_kg_per_ha=60.0, k2o_removal_kg_per_ha=35.0)
    assert poor.nitrogen is not None and fed.nitrogen is not None
    # The lines add up to the total, and the harvest's own is what lifts the need to 60.
    lines = {each.key: each.kg_per_ha for each in fed.nitrogen.lines}
    assert lines["base"] + lines["leaf-and-vigour"] + lines["harvest"] == pytest.approx(60.0)
    assert fed.nitrogen.total_kg_per_ha > poor.nitrogen.total_kg_per_ha
    assert "harvest" not in {each.key for each in poor.nitrogen.lines}
    with pytest.raises(InputInvalid) as refusal:
        plan(removal_kg_per_ha=900.0)
    assert refusal.value.faults[0].where == "removal_kg_per_ha"


def test_dry_nitrogen_on_sand_goes_out_in_fewer_parts_than_through_drip(
    own_service: Service,
) -> None:
    service = with_tests(own_service, texture="sand")

    def parts(*, is_dry: bool) -> int:
        request = PlanRequest(
            season_year=2027, age_years=6, base_kg_per_ha=55.0, is_spread_dry=is_dry
        )
        found = plan_nutrients(BLOCK_ID, request, on=TODAY, unit_of_work=service.unit_of_work)
        return len(found.plan.parts)

    assert parts(is_dry=True) < parts(is_dry=False)
