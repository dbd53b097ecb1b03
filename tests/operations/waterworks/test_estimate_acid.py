"""What an acid estimate says in addition to the dose."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from service.errors import InputInvalid
from service.operations.waterworks.estimate_acid import AcidRequest, estimate_acid
from service.records.farms import BlockDefinition
from service.records.waterworks import WaterSample
from service.waterworks.acid import TitrationPoint
from service.waterworks.water_analysis import Reading
from tests.factories import make_block


def sample_of(*more: Reading, titration: tuple[TitrationPoint, ...] = ()) -> WaterSample:
    """An invented water of 4 meq/L."""
    readings = (Reading("ph", 7.8, "pH"), Reading("alkalinity", 4.0, "meq/L"), *more)
    return WaterSample(
        farm_id="hill-farm",
        supply_id="well",
        day=date(2026, 5, 4),
        laboratory="invented",
        readings=readings,
        temperature_c=20.0,
        titration=titration,
    )


def request_to(target_ph: float) -> AcidRequest:
    return AcidRequest(target_ph=target_ph, acid_key="sulfuric", strength_pct=93.0)


SHORT: dict[str, Any] = {"crop_key": "blueberry", "materials": ("plastic",), "injection_min": 30.0}
TITRATION = (TitrationPoint(0.0, 7.8), TitrationPoint(3.0, 6.1), TitrationPoint(4.1, 4.3))


def short_to(target_ph: float, **changed: Any) -> AcidRequest:
    """A short, supervised injection for a crop of acid soils, through plastic."""
    return replace(request_to(target_ph), **(SHORT | changed))


def test_below_five_and_a_half_nothing_is_said_without_a_titration() -> None:
    with pytest.raises(InputInvalid) as refusal:
        estimate_acid(sample_of(), request_to(5.4))
    assert refusal.value.faults[0].where == "target_ph"
    assert "a titration of this water" in refusal.value.faults[0].allowed
    assert estimate_acid(sample_of(), request_to(5.5)).dose.basis == "model"


def test_a_titration_gives_a_low_ph_with_how_steep_it_is_there() -> None:
    found = estimate_acid(sample_of(titration=TITRATION), short_to(4.5))
    assert found.dose.basis == "titration"
    assert found.limit.lowest_ph == 4.5 and found.limit.binding.key == "crop"
    assert "steep-dose" in [each.key for each in found.dose_advisories]
    at = {each.dose_change_pct: each.ph for each in found.ph_by_dose}
    assert at[-5.0] - at[5.0] > 1.0


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"crop_key": "grape-wine"}, "gains nothing from it"),
        ({"crop_key": None}, "No crop was named"),
        ({"injection_min": None}, "whole irrigation"),
        ({"materials": ()}, "is not stated"),
        ({"materials": ("plastic", "brass")}, "Brass and bronze"),
    ],
)
def test_a_titration_alone_does_not_allow_a_low_ph(changed: dict[str, Any], word: str) -> None:
    with pytest.raises(InputInvalid) as refusal:
        estimate_acid(sample_of(titration=TITRATION), short_to(4.5, **changed))
    (fault,) = refusal.value.faults
    assert fault.where == "target_ph"
    assert fault.allowed.startswith("pH 5.5 or more here.") and word in fault.allowed


def test_crop_duration_and_installation_do_not_replace_a_titration() -> None:
    with pytest.raises(InputInvalid) as refusal:
        estimate_acid(sample_of(), short_to(4.5))
    assert "a titration of this water" in refusal.value.faults[0].allowed


@pytest.fixture(scope="module")
def blueberries() -> BlockDefinition:
    """Half a hectare with pipes that are not described."""
    return make_block("blueberries", crop_key="blueberry", area_m2=5000.0)


def test_the_season_of_short_injections_is_their_number_times_one(
    blueberries: BlockDefinition,
) -> None:
    asked = short_to(4.5, injection_count=12, season_water_mm=500.0)
    found = estimate_acid(sample_of(titration=TITRATION), asked, block=blueberries)
    assert found.injection is not None and found.season is not None
    assert found.season.block is not None
    assert found.season.block.product_kg == pytest.approx(12 * found.injection.acid.product_kg)
    assert found.season_origin == "the injections alone, at the flow of the block"
    assert found.injection.flush_min is None  # its pipes are not described


def test_without_the_number_of_injections_or_any_water_no_season_is_added_up(
    blueberries: BlockDefinition,
) -> None:
    sample = sample_of(titration=TITRATION)
    found = estimate_acid(sample, short_to(4.5, season_water_mm=500.0), block=blueberries)
    assert found.season is None and "was not said" in found.season_origin
    found = estimate_acid(sample, request_to(6.5), block=blueberries)
    assert found.season is None and found.season_origin == "no water of a season was given"
    with pytest.raises(InputInvalid) as refusal:
        estimate_acid(sample, short_to(4.5, injection_count=0), block=blueberries)
    assert refusal.value.faults[0].where == "injection_count"


@pytest.mark.parametrize(("iron", "is_said"), [(0.05, False), (0.1, True), (None, True)])
def test_iron_that_oxidises_is_named_as_a_limit(iron: float | None, is_said: bool) -> None:
    lines = () if iron is None else (Reading("iron", iron, "mg/L"),)
    found = estimate_acid(sample_of(*lines), request_to(6.5))
    assert ("iron-oxidation" in [each.key for each in found.dose_advisories]) == is_said


def test_the_dose_for_a_thousand_gallons_is_that_for_their_litres() -> None:
    # Invented water; a US gallon is 231 cubic inches, 3.785411784 L.
    sample = WaterSample(
        farm_id="hill-farm",
        supply_id="well",
        day=date(2026, 5, 4),
        laboratory="invented",
        readings=(
            Reading("ph", 7.8, "pH"),
            Reading("alkalinity", 120.0, "mg/L CaCO3"),
            Reading("calcium", 48.0, "mg/L"),
        ),
        temperature_c=20.0,
    )
    request = AcidRequest(target_ph=6.5, acid_key="sulfuric", strength_pct=93.0)
    found = estimate_acid(sample, request)
    assert found.dose.acid_ml_per_m3 is not None
    assert found.acid_l_per_1000_gal == pytest.approx(
        found.dose.acid_ml_per_m3 / 1000.0 * 3.785411784
    )
    assert found.dose.cautions
