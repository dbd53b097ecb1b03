"""Soil numbers against FAO-56 Table 19 and the regression of Saxton & Rawls 2006."""

from __future__ import annotations

import pytest

from service.agronomy.soil import saxton_rawls, texture_soil

# Saxton & Rawls 2006, Soil Sci. Soc. Am. J. 70:1569-1578, coefficients from memory: sand, clay,
# then WP, FC, SAT (m3/m3) and Ks (mm/h) at 2.5 % organic matter, worked by two independent ways.
REGRESSION = [
    (0.88, 0.05, 0.050, 0.103, 0.462, 108.1),
    (0.80, 0.05, 0.051, 0.120, 0.460, 96.7),
    (0.65, 0.10, 0.081, 0.179, 0.450, 50.3),
    (0.40, 0.20, 0.137, 0.280, 0.460, 15.5),
    (0.20, 0.15, 0.110, 0.305, 0.479, 16.1),
    (0.10, 0.05, 0.057, 0.305, 0.479, 22.0),
    (0.60, 0.25, 0.166, 0.267, 0.434, 11.3),
    (0.30, 0.35, 0.218, 0.358, 0.477, 4.3),
    (0.10, 0.35, 0.215, 0.382, 0.511, 5.7),
    (0.50, 0.40, 0.249, 0.361, 0.444, 1.4),
    (0.10, 0.45, 0.268, 0.409, 0.524, 3.7),
    (0.25, 0.50, 0.298, 0.421, 0.498, 1.1),
]


@pytest.mark.parametrize(
    ("sand", "clay", "wilting", "capacity", "saturation", "conductivity"), REGRESSION
)
def test_regression_over_the_textures(
    sand: float,
    clay: float,
    wilting: float,
    capacity: float,
    saturation: float,
    conductivity: float,
) -> None:
    soil = saxton_rawls(sand, clay, 2.5)
    assert soil.wilting_point == pytest.approx(wilting, abs=0.0011)
    assert soil.field_capacity == pytest.approx(capacity, abs=0.0011)
    assert soil.saturation == pytest.approx(saturation, abs=0.0011)
    assert soil.saturated_conductivity_mm_per_h == pytest.approx(conductivity, abs=0.06)


@pytest.mark.parametrize(
    ("sand", "clay", "wilting", "capacity", "saturation", "conductivity"),
    [
        (0.65, 0.10, 0.0808, 0.1792, 0.4499, 50.30),
        (0.40, 0.20, 0.1370, 0.2796, 0.4595, 15.48),
        (0.30, 0.35, 0.2180, 0.3579, 0.4772, 4.32),
    ],
)
def test_regression_to_its_last_digits(
    sand: float,
    clay: float,
    wilting: float,
    capacity: float,
    saturation: float,
    conductivity: float,
) -> None:
    # As above, from memory, to more digits.
    soil = saxton_rawls(sand, clay, 2.5)
    assert soil.wilting_point == pytest.approx(wilting, abs=0.0001)
    assert soil.field_capacity == pytest.approx(capacity, abs=0.0001)
    assert soil.saturation == pytest.approx(saturation, abs=0.0001)
    assert soil.saturated_conductivity_mm_per_h == pytest.approx(conductivity, abs=0.01)


@pytest.mark.parametrize(
    ("sand", "clay", "printed_capacity_pct", "printed_mm_per_h"),
    [(0.65, 0.10, 18, 50.0), (0.40, 0.20, 28, 15.5), (0.30, 0.35, 36, 4.3)],
)
def test_regression_gives_the_table_of_its_paper(
    sand: float, clay: float, printed_capacity_pct: int, printed_mm_per_h: float
) -> None:
    # Saxton & Rawls 2006, Table 3 (sandy loam, loam, clay loam), from memory.
    soil = saxton_rawls(sand, clay, 2.5)
    assert round(100 * float(soil.field_capacity)) == printed_capacity_pct
    assert soil.saturated_conductivity_mm_per_h == pytest.approx(printed_mm_per_h, rel=0.02)


@pytest.mark.parametrize(
    ("key", "capacity", "wilting"),
    [
        ("sand", (0.07, 0.17), (0.02, 0.07)),
        ("loamy-sand", (0.11, 0.19), (0.03, 0.10)),
        ("sandy-loam", (0.18, 0.28), (0.06, 0.16)),
        ("loam", (0.20, 0.30), (0.07, 0.17)),
        ("silt-loam", (0.22, 0.36), (0.09, 0.21)),
        ("silt", (0.28, 0.36), (0.12, 0.22)),
        ("silty-clay-loam", (0.30, 0.37), (0.17, 0.24)),
        ("silty-clay", (0.30, 0.42), (0.17, 0.29)),
        ("clay", (0.32, 0.40), (0.20, 0.24)),
    ],
)
def test_textures_of_table_19_lie_in_the_middle_of_its_ranges(
    key: str, capacity: tuple[float, float], wilting: tuple[float, float]
) -> None:
    # FAO-56 Table 19.
    soil = texture_soil(key)
    assert soil.field_capacity == pytest.approx(sum(capacity) / 2)
    assert soil.wilting_point == pytest.approx(sum(wilting) / 2)


@pytest.mark.parametrize(
    ("key", "available"),
    [
        ("sand", (0.05, 0.11)),
        ("loamy-sand", (0.06, 0.12)),
        ("sandy-loam", (0.11, 0.15)),
        ("loam", (0.13, 0.18)),
        ("silt-loam", (0.13, 0.19)),
        ("silty-clay", (0.13, 0.19)),
        ("clay", (0.12, 0.20)),
    ],
)
def test_available_water_lies_in_the_printed_range(
    key: str, available: tuple[float, float]
) -> None:
    # FAO-56 Table 19, column FC - WP.
    soil = texture_soil(key)
    held = float(soil.field_capacity) - float(soil.wilting_point)
    assert available[0] - 1e-9 <= held <= available[1] + 1e-9


def test_conductivity_is_the_saturated_one_and_not_that_of_the_infiltration_tables() -> None:
    # Rawls et al. 1983 give 10.9 mm/h for sandy loam as an effective value (EPA SWMM hydrology
    # reference manual, Table 4-7); the saturated one is some 50 mm/h.
    assert float(texture_soil("sandy-loam").saturated_conductivity_mm_per_h) > 40.0


@pytest.mark.parametrize(
    ("key", "upper", "lower"),
    [
        # Bandaranayake et al. 2018, Soil Sci. Soc. Am. J. (abstract): field capacity 0.19 to 0.21
        # of bark two years old, 0.10 after 12 days of drying.
        ("pine-bark", (0.19, 0.21), (0.10, 0.10)),
        # Acta agriculturae Slovenica, article 1851 (abstract): 25 to 32 % from 33 to 10 kPa, 15 to
        # 18 % from 1500 to 300 kPa.
        ("peat-mix", (0.25, 0.32), (0.15, 0.18)),
    ],
)
def test_beds_of_bark_and_peat_hold_what_was_measured(
    key: str, upper: tuple[float, float], lower: tuple[float, float]
) -> None:
    soil = texture_soil(key)
    assert upper[0] <= float(soil.field_capacity) <= upper[1]
    assert lower[0] <= float(soil.wilting_point) <= lower[1]


def test_organic_sand_follows_the_curve_of_its_row() -> None:
    # Staring series, Wösten et al. 2001, topsoil B15 (read in a copy of its table): van Genuchten
    # with theta_r 0.01, theta_s 0.53, alpha 0.0242 1/cm, n 1.28; Ks 81.28 cm/d.
    def water(tension_kpa: float) -> float:
        suction_cm = tension_kpa / 0.0980665
        drained: float = (1.0 + (0.0242 * suction_cm) ** 1.28) ** (1.0 - 1.0 / 1.28)
        return 0.01 + 0.52 / drained

    soil = texture_soil("organic-sand")
    assert float(soil.field_capacity) == pytest.approx(water(33.0), abs=0.002)
    assert float(soil.wilting_point) == pytest.approx(water(1500.0), abs=0.002)
    assert float(soil.saturated_conductivity_mm_per_h) == pytest.approx(81.28 / 2.4, abs=0.1)
