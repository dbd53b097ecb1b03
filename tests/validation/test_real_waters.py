"""What 823 real analyses say of the charge balance, of the EC estimate and of mistyped alkalinity.

Dutch ditch, drain and ground waters, `data/dutch_waters.csv` with its notice. The laboratory prints
alkalinity as HCO3, so that the other form can be tried on every one of them.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from service.waterworks.carbonate_form import HCO3_MG_PER_MEQ, question_form
from service.waterworks.ion_conductivity import (
    CATIONS_MEQ_PER_EC,
    EC_OF_IONS,
    EC_RULE,
    conductivity_ds_m,
    ions_of,
)
from service.waterworks.water_analysis import (
    CALCITE_MG_PER_MEQ,
    Reading,
    WaterAnalysis,
    analysis_from_readings,
)

FILE = Path(__file__).parent / "data" / "dutch_waters.csv"
COLUMNS = {
    "ph": ("ph", ""),
    "EC": ("ec", "uS/cm"),
    "HCO3": ("bicarbonate", "mg/L"),
    "Cl": ("chloride", "mg/L"),
    "SO4": ("sulfate", "mg/L"),
    "NO3": ("nitrate", "mg/L"),
    "Ca": ("calcium", "mg/L"),
    "Mg": ("magnesium", "mg/L"),
    "Na": ("sodium", "mg/L"),
    "K": ("potassium", "mg/L"),
}


@pytest.fixture(scope="module")
def reports() -> list[list[Reading]]:
    with FILE.open(encoding="utf-8", newline="") as file:
        return [
            [
                Reading(quantity, float(row[column]), unit)
                for column, (quantity, unit) in COLUMNS.items()
                if row[column]
            ]
            for row in csv.DictReader(file)
        ]


def difference_pct(readings: list[Reading]) -> float:
    balance = analysis_from_readings(readings).charge_balance
    assert balance is not None
    return balance.difference_pct


def is_asked(readings: list[Reading], analysis: WaterAnalysis) -> bool:
    asked = question_form(readings, analysis)
    return "alkalinity-form" in [each.key for each in asked.advisories]


def mistyped(readings: list[Reading]) -> list[Reading]:
    """The number of CaCO3 as a bare mg/L of bicarbonate."""
    scale = CALCITE_MG_PER_MEQ / HCO3_MG_PER_MEQ
    return [
        Reading(each.quantity, each.value * scale, each.unit)
        if each.quantity == "bicarbonate"
        else each
        for each in readings
    ]


def test_most_real_analyses_balance_within_ten_per_cent(reports: list[list[Reading]]) -> None:
    off = np.abs([difference_pct(each) for each in reports])
    assert off.size == 823
    assert np.mean(off <= 5.0) == pytest.approx(0.800, abs=0.001)
    assert np.mean(off <= 10.0) == pytest.approx(0.921, abs=0.001)


def test_cations_over_ten_is_the_ec_of_real_waters_within_a_fifth(
    reports: list[list[Reading]],
) -> None:
    ratio = []
    for readings in reports:
        if not any(each.quantity == "ec" for each in readings):
            continue
        found = analysis_from_readings(readings)
        assert found.charge_balance is not None and found.ec_ds_m is not None
        ratio.append(found.charge_balance.cations_meq_per_l / CATIONS_MEQ_PER_EC / found.ec_ds_m)
    assert len(ratio) == 728
    assert np.quantile(ratio, (0.05, 0.5, 0.95)) == pytest.approx((0.807, 0.900, 1.032), abs=0.002)
    assert np.mean(np.abs(np.subtract(ratio, 1.0)) < 0.20) == pytest.approx(0.942, abs=0.001)


def test_the_ions_make_the_ec_of_real_waters_within_a_tenth(reports: list[list[Reading]]) -> None:
    measured = [each for each in reports if any(one.quantity == "ec" for one in each)]
    found = [analysis_from_readings(each) for each in measured]
    ratio = np.array(
        [conductivity_ds_m(ions_of(each)) / (each.ec_ds_m or np.nan) for each in found]
    )
    assert ratio.size == 728
    assert np.quantile(ratio, (0.05, 0.5, 0.95)) == pytest.approx((0.885, 0.984, 1.114), abs=0.003)
    # Of cations over ten 47 % are within a tenth.
    assert np.mean(np.abs(ratio - 1.0) < 0.10) == pytest.approx(0.872, abs=0.005)


def test_without_a_measured_ec_that_of_the_ions_is_taken_and_named(
    reports: list[list[Reading]],
) -> None:
    readings = [each for each in reports[0] if each.quantity != "ec"]
    found = analysis_from_readings(readings)
    assert found.ec_ds_m == pytest.approx(conductivity_ds_m(ions_of(found)))
    assert [each.how for each in found.derived if each.name == "ec_ds_m"] == [EC_OF_IONS]
    fewer = analysis_from_readings([each for each in readings if each.quantity != "sulfate"])
    assert [each.how for each in fewer.derived if each.name == "ec_ds_m"] == [EC_RULE]


def test_bicarbonate_typed_from_a_number_as_calcium_carbonate_is_questioned(
    reports: list[list[Reading]],
) -> None:
    sound = [each for each in reports if abs(difference_pct(each)) <= 3.0]
    # Only where bicarbonate is much of the water can the balance show it.
    heavy = [each for each in sound if abs(difference_pct(mistyped(each))) > 5.0]
    asked = [is_asked(mistyped(each), analysis_from_readings(mistyped(each))) for each in heavy]
    assert (len(sound), len(heavy), sum(asked)) == (439, 159, 159)
    assert not any(is_asked(each, analysis_from_readings(each)) for each in sound)


def test_few_analyses_that_are_off_as_typed_are_asked_in_vain(
    reports: list[list[Reading]],
) -> None:
    # Their charges would balance in the other form: nothing tells them from a mistyped one.
    asked = sum(is_asked(each, analysis_from_readings(each)) for each in reports)
    assert asked == 44
