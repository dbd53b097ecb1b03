"""Alkalinity and bicarbonate as CaCO3 or as HCO3: asked about where the charges speak for it."""

from __future__ import annotations

import pytest

from service.waterworks.carbonate_form import question_form
from service.waterworks.water_analysis import Reading, WaterAnalysis, analysis_from_readings

# Invented: cations 8.0 meq/L, anions 8.0 with 5.0 of them bicarbonate.
REST = [
    Reading("calcium", 5.0, "meq/L"),
    Reading("magnesium", 2.0, "meq/L"),
    Reading("sodium", 1.0, "meq/L"),
    Reading("chloride", 2.0, "meq/L"),
    Reading("sulfate", 1.0, "meq/L"),
]


def asked(*lines: Reading) -> WaterAnalysis:
    readings = [*lines, *REST]
    return question_form(readings, analysis_from_readings(readings))


def keys(analysis: WaterAnalysis) -> list[str]:
    return [each.key for each in analysis.advisories]


@pytest.mark.parametrize(
    ("line", "form"),
    [
        (Reading("bicarbonate", 250.2, "mg/L"), "as CaCO3"),
        (Reading("bicarbonate", 250.2, "ppm"), "as CaCO3"),
        (Reading("alkalinity", 250.2, "mg/L as HCO3"), "as CaCO3"),
        (Reading("alkalinity", 305.1, "mg/L as CaCO3"), "as HCO3"),
        (Reading("bicarbonate", 305.1, "mg/L as CaCO3"), "as HCO3"),
    ],
)
def test_the_form_that_would_balance_is_asked_about(line: Reading, form: str) -> None:
    found = asked(line)
    assert keys(found) == ["alkalinity-form"]
    text = found.advisories[0].text
    assert form in text and "0.0 %" in text and "Nothing was changed" in text


@pytest.mark.parametrize(
    "line",
    [
        Reading("bicarbonate", 305.1, "mg/L"),
        Reading("alkalinity", 250.2, "mg/L as CaCO3"),
        Reading("alkalinity", 305.1, "mg/L as HCO3"),
        Reading("alkalinity", 5.0, "meq/L"),
    ],
)
def test_a_report_that_balances_as_typed_is_not_questioned(line: Reading) -> None:
    assert keys(asked(line)) == []


def test_equivalents_have_no_other_form() -> None:
    assert "alkalinity-form" not in keys(asked(Reading("alkalinity", 4.1, "meq/L")))


def test_a_balance_that_the_other_form_does_not_mend_is_not_explained_by_it() -> None:
    found = asked(Reading("bicarbonate", 150.0, "mg/L"))
    assert keys(found) == ["charge-balance-off"]


def test_of_alkalinity_and_bicarbonate_the_one_that_counts_is_asked_about() -> None:
    found = asked(
        Reading("alkalinity", 250.2, "mg/L as HCO3"), Reading("bicarbonate", 250.2, "mg/L")
    )
    assert "with alkalinity read as" in found.advisories[-1].text


def test_bicarbonate_and_carbonate_change_their_form_together() -> None:
    found = asked(Reading("bicarbonate", 200.16, "mg/L"), Reading("carbonate", 50.04, "mg/L"))
    # As ions 3.28 + 1.67, as CaCO3 4 + 1: both balance well, so nothing is asked.
    assert keys(found) == []
    mostly = asked(Reading("bicarbonate", 245.2, "mg/L"), Reading("carbonate", 5.0, "mg/L"))
    assert "bicarbonate and carbonate read as mg/L as CaCO3" in mostly.advisories[0].text


def test_a_report_without_a_balance_is_left_alone() -> None:
    readings = [Reading("bicarbonate", 250.2, "mg/L")]
    analysis = analysis_from_readings(readings)
    assert question_form(readings, analysis) is analysis
