"""Water quality, acid and fertigation against published formulas and worked check values."""

from __future__ import annotations

import pytest

from service.waterworks.acid import acid_density_kg_per_l, acid_dose, acid_normality_eq_per_l
from service.waterworks.carbonate import (
    CarbonateWater,
    carbonate_constants,
    log_activity_coefficient,
    total_carbonate_mmol_per_l,
)
from service.waterworks.fertiliser import (
    PRODUCTS,
    inject,
    product_mass_kg,
    stock_solution,
)
from service.waterworks.injection_window import injection_window
from service.waterworks.water_report import (
    drip_leaching_requirement_fraction,
    expected_soil_salinity_ds_m,
    langelier_saturation_ph,
    leaching_requirement_fraction,
    relative_yield_pct,
    sodium_adsorption_ratio,
    zero_yield_salinity_ds_m,
)
from tests.waterworks.closed_pipe import alkalinity_meq_per_l


# CV50: LR = ECw / (5 ECe - ECw), FAO-29 as quoted in FAO-56 p. 180.
@pytest.mark.parametrize(
    ("water", "threshold", "expected"),
    [(1.0, 1.5, 0.15385), (0.5, 1.5, 0.07143), (1.2, 1.7, 0.16438), (2.0, 1.7, 0.30769)],
)
def test_conventional_leaching_requirement(water: float, threshold: float, expected: float) -> None:
    assert leaching_requirement_fraction(water, threshold) == pytest.approx(expected, abs=1e-5)


# CV51: LR = ECw / (2 max ECe), NEH 623 ch. 7 (from memory).
@pytest.mark.parametrize(
    ("water", "most", "expected"), [(0.5, 6.0, 0.04167), (1.0, 6.0, 0.08333), (1.2, 12.0, 0.05)]
)
def test_drip_leaching_requirement(water: float, most: float, expected: float) -> None:
    assert drip_leaching_requirement_fraction(water, most) == pytest.approx(expected, abs=1e-5)


# Thresholds and slopes of FAO-56 Table 23; zero yields of FAO-29 rounded: 6, 12, 6.5, 8, 4
# (from memory).
@pytest.mark.parametrize(
    ("threshold", "slope", "computed", "rounded"),
    [
        (1.5, 22.0, 6.05, 6.0),
        (1.5, 9.6, 11.92, 12.0),
        (1.7, 21.0, 6.46, 6.5),
        (1.7, 16.0, 7.95, 8.0),
        (1.0, 33.0, 4.03, 4.0),
    ],
)
def test_salinity_of_no_yield(
    threshold: float, slope: float, computed: float, rounded: float
) -> None:
    found = zero_yield_salinity_ds_m(threshold, slope)
    assert found == pytest.approx(computed, abs=0.006)
    assert found == pytest.approx(rounded, abs=0.1)


# CV52 and its neighbours: FAO-56 Table 23 and Eq. 89 (Maas & Hoffman).
@pytest.mark.parametrize(
    ("salinity", "threshold", "slope", "expected"),
    [(3.0, 1.7, 21.0, 72.7), (3.0, 1.5, 9.6, 85.6), (2.5, 1.5, 22.0, 78.0)],
)
def test_relative_yield(salinity: float, threshold: float, slope: float, expected: float) -> None:
    assert relative_yield_pct(salinity, threshold, slope) == pytest.approx(expected, abs=0.1)


# CV53: FAO-56 Eq. 93; its text says 1.5 ECw at 15 to 20 %.
@pytest.mark.parametrize(("fraction", "expected"), [(0.15, 1.533), (0.20, 1.200)])
def test_expected_soil_salinity(fraction: float, expected: float) -> None:
    assert expected_soil_salinity_ds_m(1.0, fraction) == pytest.approx(expected, abs=0.001)


def test_sodium_adsorption_ratio() -> None:
    # FAO-29: Na 5, Ca 2, Mg 1 meq/L.
    assert sodium_adsorption_ratio(5.0, 2.0, 1.0) == pytest.approx(4.082, abs=0.001)


# Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040.
@pytest.mark.parametrize(
    ("temperature", "pk1", "pk2"),
    [(10.0, 6.463, 10.488), (20.0, 6.382, 10.376), (25.0, 6.352, 10.329)],
)
def test_constants_of_plummer_and_busenberg(temperature: float, pk1: float, pk2: float) -> None:
    found = carbonate_constants(temperature)
    assert found.pk1 == pytest.approx(pk1, abs=0.0015)
    assert found.pk2 == pytest.approx(pk2, abs=0.0015)


def test_constants_at_25_degrees() -> None:
    # Plummer & Busenberg 1982: log KH -1.468, log K(calcite) -8.480; pKw 13.995 from memory.
    found = carbonate_constants(25.0)
    assert found.log_henry == pytest.approx(-1.468, abs=0.001)
    assert found.log_calcite == pytest.approx(-8.480, abs=0.001)
    assert found.pk_water == pytest.approx(13.995, abs=0.005)


def test_davies_at_25_degrees() -> None:
    # Stumm & Morgan, Aquatic Chemistry (from memory): A 0.509; I 0.1 gives 0.78 and 0.37.
    assert 10 ** log_activity_coefficient(1, 0.1) == pytest.approx(0.78, abs=0.005)
    assert 10 ** log_activity_coefficient(2, 0.1) == pytest.approx(0.37, abs=0.005)


# Closed form without activities: alkalinity 120 mg/L as CaCO3, pH 7.8, 20 °C, doses in meq/L,
# worked apart from the code with pK 6.382 and 10.376.
@pytest.mark.parametrize(
    ("target", "expected"),
    [(7.0, 0.397), (6.5, 0.989), (6.0, 1.671), (5.5, 2.113), (5.0, 2.309), (4.5, 2.397)],
)
def test_closed_form_dose_without_activities(target: float, expected: float) -> None:
    alkalinity = 120.0 / 50.04
    total = total_carbonate_mmol_per_l(alkalinity, 7.8, 20.0)
    assert alkalinity - alkalinity_meq_per_l(total, target, 20.0) == pytest.approx(
        expected, abs=0.001
    )


# The same, with an ionic strength of 0.0045 mol/L.
@pytest.mark.parametrize(
    ("target", "expected"),
    [(7.0, 0.376), (6.5, 0.950), (6.0, 1.636), (5.5, 2.095), (5.0, 2.303), (4.5, 2.398)],
)
def test_closed_form_dose_with_activities(target: float, expected: float) -> None:
    alkalinity = 120.0 / 50.04
    strength = 0.0045
    total = total_carbonate_mmol_per_l(alkalinity, 7.8, 20.0, ionic_strength_mol_per_l=strength)
    left = alkalinity_meq_per_l(total, target, 20.0, ionic_strength_mol_per_l=strength)
    assert alkalinity - left == pytest.approx(expected, abs=0.006)


# CV54, CV55 and their neighbours: mmol/L of H2SO4, 20 °C, worked with PHREEQC.
@pytest.mark.parametrize(
    ("alkalinity_mg", "ph", "target", "expected"),
    [
        (120.0, 7.8, 7.0, 0.1901),
        (120.0, 7.8, 6.5, 0.4761),
        (120.0, 7.8, 6.0, 0.8177),
        (120.0, 7.8, 5.5, 1.0475),
        (120.0, 7.8, 5.0, 1.1517),
        (120.0, 7.8, 4.5, 1.1998),
        (60.0, 7.2, 6.5, 0.2017),
        (60.0, 7.2, 5.5, 0.5177),
        (60.0, 7.2, 4.5, 0.6074),
        (200.0, 8.0, 6.5, 0.8064),
        (200.0, 8.0, 5.5, 1.745),
        (200.0, 8.0, 4.5, 1.988),
        (300.0, 7.5, 6.5, 1.098),
        (300.0, 7.5, 5.5, 2.589),
        (300.0, 7.5, 4.5, 2.971),
    ],
)
def test_sulfuric_acid_doses(
    alkalinity_mg: float, ph: float, target: float, expected: float
) -> None:
    water = CarbonateWater(ph=ph, alkalinity_meq_per_l=alkalinity_mg / 50.04, temperature_c=20.0)
    found = acid_dose(water, target, acid_key="sulfuric", strength_pct=93.0)
    assert found.dose_mmol_per_l == pytest.approx(expected, rel=0.005)


# pH after degassing to log pCO2 -3.38, worked with PHREEQC.
@pytest.mark.parametrize(("target", "expected"), [(6.5, 8.27), (5.5, 7.61), (4.5, 5.47)])
def test_open_air_ph(target: float, expected: float) -> None:
    water = CarbonateWater(ph=7.8, alkalinity_meq_per_l=120.0 / 50.04, temperature_c=20.0)
    found = acid_dose(water, target, acid_key="sulfuric", strength_pct=93.0)
    assert found.open_air_ph == pytest.approx(expected, abs=0.05)


# CV56 and its neighbours: eq/L from handbook densities (from memory).
@pytest.mark.parametrize(
    ("acid_key", "strength", "expected", "tolerance"),
    [
        ("sulfuric", 98.0, 36.69, 0.05),
        ("sulfuric", 96.0, 35.93, 0.05),
        ("sulfuric", 93.0, 34.66, 0.05),
        ("sulfuric", 50.0, 14.22, 0.05),
        ("sulfuric", 37.0, 9.63, 0.05),
        ("sulfuric", 30.0, 7.45, 0.05),
        ("hydrochloric", 32.0, 10.2, 0.1),
        ("hydrochloric", 37.0, 12.0, 0.1),
        ("phosphoric", 75.0, 12.1, 0.1),
        ("phosphoric", 85.0, 14.6, 0.1),
        ("nitric", 67.0, 14.9, 0.1),
    ],
)
def test_acid_normality(acid_key: str, strength: float, expected: float, tolerance: float) -> None:
    assert acid_normality_eq_per_l(acid_key, strength) == pytest.approx(expected, abs=tolerance)


def test_volume_of_acid_for_the_ideal_dose() -> None:
    # 0.989 meq/L of 93 % sulfuric acid: 28.53 mL per m³, 9.51 mL/min into 20 m³/h.
    ml_per_m3 = 1000.0 * 0.989 / acid_normality_eq_per_l("sulfuric", 93.0)
    assert ml_per_m3 == pytest.approx(28.53, abs=0.02)
    assert ml_per_m3 * 20.0 / 60.0 == pytest.approx(9.51, abs=0.01)


def test_sulfuric_acid_density() -> None:
    # Handbook value, from memory: 96 % 1.8355 kg/L at 20 °C.
    assert acid_density_kg_per_l("sulfuric", 96.0) == pytest.approx(1.8355)


def test_langelier_index() -> None:
    # CV60: 20 °C, TDS 300, calcium 120 and alkalinity 120 mg/L as CaCO3, pH 7.8 (formula from
    # memory).
    saturated = langelier_saturation_ph(300.0, 120.0, 120.0, temperature_c=20.0)
    assert saturated == pytest.approx(7.874, abs=0.002)
    assert 7.8 - saturated == pytest.approx(-0.074, abs=0.002)


# Grades on labels of pure and technical products, from memory; N, P2O5, K2O per cent.
@pytest.mark.parametrize(
    ("key", "nitrogen", "p2o5", "k2o"),
    [
        ("urea", 46.0, 0.0, 0.0),
        ("ammonium-sulfate", 21.0, 0.0, 0.0),
        ("ammonium-nitrate", 34.0, 0.0, 0.0),
        ("potassium-nitrate", 13.5, 0.0, 46.0),
        ("potassium-sulfate", 0.0, 0.0, 52.0),
        ("potassium-chloride", 0.0, 0.0, 62.0),
        ("calcium-nitrate", 15.5, 0.0, 0.0),
        ("map", 12.0, 61.0, 0.0),
        ("dap", 21.0, 53.0, 0.0),
        ("mkp", 0.0, 52.0, 34.0),
        ("uan-32", 32.0, 0.0, 0.0),
    ],
)
def test_products_hold_what_their_labels_commonly_say(
    key: str, nitrogen: float, p2o5: float, k2o: float
) -> None:
    product = PRODUCTS[key]
    assert 100.0 * product.nitrogen_fraction == pytest.approx(nitrogen, abs=1.1)
    assert 100.0 * product.phosphorus_fraction / 0.4364 == pytest.approx(p2o5, abs=1.1)
    assert 100.0 * product.potassium_fraction / 0.8302 == pytest.approx(k2o, abs=2.2)


def test_nitrogen_injection_into_a_block() -> None:
    # CV57: 40 kg N/ha in 24 events on 2.5 ha, UAN 32-0-0 of 1.33 kg/L (from memory), emitters of
    # 2 L/h at 0.69 m² each; 30 minutes.
    nitrogen_kg = 40.0 / 24.0 * 2.5
    assert nitrogen_kg == pytest.approx(4.167, abs=0.001)
    uan = PRODUCTS["uan-32"]
    product_kg = product_mass_kg(uan, "nitrogen", nitrogen_kg)
    assert uan.density_kg_per_l is not None
    litres = product_kg / uan.density_kg_per_l
    assert litres == pytest.approx(9.79, abs=0.005)
    flow = 2.5 * 1e4 * 2.0 / 0.690
    assert flow / 1000.0 == pytest.approx(72.46, abs=0.01)
    tank = stock_solution([(uan, product_kg)], litres, 20.0)
    found = inject(tank, litres, flow_l_per_h=flow, duration_min=30.0)
    assert found.injector_l_per_h == pytest.approx(19.58, abs=0.01)
    assert found.nutrient_mg_per_l["nitrogen"] == pytest.approx(115.0, abs=0.5)
    assert found.dilution_ratio == pytest.approx(3701.0, abs=5.0)


def test_injection_window_of_a_run() -> None:
    # T 90 min, travel 20 min: start 22.5, flush 30, window 37.5 (quarters: common practice).
    window = injection_window(90.0, 20.0, 20.0)
    assert window is not None
    assert window.opens_min == pytest.approx(22.5)
    assert 90.0 - window.closes_min == pytest.approx(30.0)
    assert window.duration_min == pytest.approx(37.5)


# CRC Handbook of Chemistry and Physics, 98th ed.: mass of salt in the saturated solution, %, at 0,
# 10, 20, 30 and 40 °C; read in the table of github.com/chicolucio/solutions.
@pytest.mark.parametrize(
    ("key", "mass_pct"),
    [
        ("mkp", (11.74, 14.91, 18.25, 21.77, 25.28)),
        ("map", (17.8, 22.0, 26.4, 31.2, 36.2)),
        ("dap", (None, 38.2, 40.0, 42.0, 44.1)),
    ],
)
def test_solubility_of_phosphates_is_not_above_the_handbook(
    key: str, mass_pct: tuple[float | None, ...]
) -> None:
    for (_, grams), share_pct in zip(PRODUCTS[key].solubility_g_per_kg, mass_pct, strict=True):
        if share_pct is not None:
            expected = 1000.0 * share_pct / (100.0 - share_pct)
            assert expected - 1.0 <= grams <= expected


# CRC Handbook, 102nd ed., concentrative properties at 20 °C.
@pytest.mark.parametrize(
    ("strength_pct", "density_kg_per_l"), [(10.0, 1.0402), (20.0, 1.0858), (30.0, 1.1346)]
)
def test_density_of_citric_acid(strength_pct: float, density_kg_per_l: float) -> None:
    assert acid_density_kg_per_l("citric", strength_pct) == density_kg_per_l
