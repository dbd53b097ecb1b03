"""How far the pH goes when a dose of acid is a little off."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.waterworks.acid import acid_dose
from service.waterworks.acid_sensitivity import DOSE_CHANGES_PCT, DoseShift, ph_by_dose, steepness
from service.waterworks.carbonate import CarbonateWater

HARD = CarbonateWater(ph=7.8, alkalinity_meq_per_l=4.0, temperature_c=20.0)


def by_dose(target_ph: float, acid_key: str = "sulfuric") -> tuple[DoseShift, ...]:
    dose = acid_dose(HARD, target_ph, acid_key=acid_key, strength_pct=30.0)
    return ph_by_dose(HARD, acid_key, dose.model_dose_mmol_per_l)


def test_at_the_dose_itself_stands_the_ph_asked_for() -> None:
    for acid_key in ("sulfuric", "phosphoric", "citric", "nitric", "hydrochloric"):
        for target_ph in (7.0, 6.0, 5.0, 4.5):
            at = {each.dose_change_pct: each.ph for each in by_dose(target_ph, acid_key)}
            assert at[0.0] == pytest.approx(target_ph, abs=0.002), (acid_key, target_ph)


def test_near_the_end_point_five_per_cent_decide_over_more_than_a_unit() -> None:
    at = {each.dose_change_pct: each.ph for each in by_dose(4.5)}
    assert at[-5.0] == pytest.approx(5.11, abs=0.03)
    assert at[5.0] == pytest.approx(3.80, abs=0.03)
    advisory = steepness(by_dose(4.5))
    assert advisory is not None
    assert "5 % less acid gives pH 5.1, 5 % more gives pH 3.8" in advisory.text


def test_where_the_water_buffers_an_injector_may_err() -> None:
    assert steepness(by_dose(6.5)) is None
    assert steepness(by_dose(5.5)) is None


@settings(max_examples=25)
@given(
    alkalinity=st.floats(0.5, 8.0),
    target_ph=st.floats(4.2, 7.0),
    acid_key=st.sampled_from(["sulfuric", "phosphoric", "citric"]),
)
def test_more_acid_never_gives_a_higher_ph(
    alkalinity: float, target_ph: float, acid_key: str
) -> None:
    water = CarbonateWater(ph=7.8, alkalinity_meq_per_l=alkalinity, temperature_c=15.0)
    dose = acid_dose(water, target_ph, acid_key=acid_key, strength_pct=30.0)
    shifts = ph_by_dose(water, acid_key, dose.model_dose_mmol_per_l)
    assert [each.dose_change_pct for each in shifts] == list(DOSE_CHANGES_PCT)
    falling = [each.ph for each in shifts]
    assert falling == sorted(falling, reverse=True)
    assert falling[0] > falling[-1]


def test_no_acid_at_all_leaves_the_water_as_it_is() -> None:
    assert {each.ph for each in ph_by_dose(HARD, "sulfuric", 0.0)} == {HARD.ph}
