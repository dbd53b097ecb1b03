"""Quantities as people write them: right numbers, no guesses, and every trap of unit names."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.farm_files.farm_keys import SiteKeys
from service.farm_files.quantities import Measure, read_quantity, write_quantity
from tests.patience import PATIENCE_S

UNITS = ("m", "m2", "L/h", "min", "s", "mm", "mm/h", "%", "degC", "degC day", "kPa", "")


def measure(unit: str, lowest: float = -1e9, highest: float = 1e9) -> Measure:
    return Measure(
        noun="a length" if unit == "m" else "a value",
        unit=unit,
        lowest=lowest,
        highest=highest,
        examples=("'10 ft'", "'3 m'"),
    )


def read(value: object, unit: str) -> float:
    return read_quantity(value, measure(unit), where="farm.toml: block[1] key")


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        # Exact by definition: inch 25.4 mm, foot 0.3048 m, US gallon 231 cubic inches.
        ("10 ft", "m", 3.048),
        ("10ft", "m", 3.048),
        ("18 in", "m", 0.4572),
        ("0.5 gal/h", "L/h", 1.892705892),
        ("0.5 gph", "L/h", 1.892705892),
        ("0.5 gallons per hour", "L/h", 1.892705892),
        ("2 L/h", "L/h", 2.0),
        ("2 l/h", "L/h", 2.0),
        ("2 lph", "L/h", 2.0),
        ("5 gpm", "L/h", 1135.6235352),
        ("3 m3/h", "L/h", 3000.0),
        ("3 m³/h", "L/h", 3000.0),
        ("0.4 ha", "m2", 4000.0),
        ("240 min", "min", 240.0),
        ("4 h", "min", 240.0),
        ("30 s", "min", 0.5),
        ("85 %", "%", 85.0),
        ("85%", "%", 85.0),
        (0.85, "%", 85.0),
        ("0.85", "%", 85.0),
        ("40 %", "", 0.4),
        (0.4, "", 0.4),
        (1, "", 1.0),
        ("12 mm/h", "mm/h", 12.0),
        ("2 in/h", "mm/h", 50.8),
        ("50 degF", "degC", 10.0),
        ("-40 °F", "degC", -40.0),
        ("10 degC", "degC", 10.0),
        ("900 degF day", "degC day", 500.0),
        ("900 °F d", "degC day", 500.0),
        ("1.5e2 mm", "m", 0.15),
    ],
)
def test_field_spellings_give_the_exact_si_number(text: object, unit: str, expected: float) -> None:
    assert read(text, unit) == expected


def test_an_acre_is_the_international_one_behind_the_gallons_of_an_acre_inch() -> None:
    # NIST Handbook 44: an acre is 43,560 square feet; an acre-inch is 27,154.29 US gallons.
    square_metres = read("1 ac", "m2")
    assert square_metres == 4046.8564224
    assert square_metres * 25.4 / read("1 gph", "L/h") == pytest.approx(27_154.29, abs=0.005)


def test_a_pound_per_square_inch_is_the_published_number_of_kilopascals() -> None:
    # NIST SP 811, Appendix B: 1 psi = 6.894757 kPa.
    assert read("30 psi", "kPa") == pytest.approx(30 * 6.894757, rel=1e-7)


@pytest.mark.parametrize(
    ("value", "unit"),
    [
        ("10 gal", "m"),
        ("3 degC", "m"),
        ("10 ft", "m2"),
        ("5 L", "L/h"),
        ("5 L/h/h", "L/h"),
        ("4 m", "min"),
        ("3 degC", "degC day"),
        ("ten ft", "m"),
        ("10 furlong", "m"),
        ("10 m m", "m"),
        ("1,5 m", "m"),
        ("1,000 m", "m"),
        ("1_000 m", "m"),
        ("nan m", "m"),
        ("inf m", "m"),
        ("1e999 m", "m"),
        ("1e308 km", "m"),
        ("1e-99999999999 ft", "m"),
        ("", "m"),
        ("10" * 50 + " m", "m"),
        (math.nan, ""),
        (math.inf, ""),
        (10**400, ""),
        (True, ""),
        (None, "m"),
        ([1], "m"),
    ],
)
def test_an_unknown_quantity_is_refused(value: object, unit: str) -> None:
    with pytest.raises(InputInvalid) as caught:
        read(value, unit)
    (fault,) = caught.value.faults
    assert fault.where == "farm.toml: block[1] key"
    assert "such as '10 ft' or '3 m'" in fault.allowed


def test_the_message_says_what_was_found_and_what_is_allowed() -> None:
    with pytest.raises(InputInvalid) as caught:
        read_quantity("10 gal", measure("m", 0.2, 30.0), where="row_spacing")
    (fault,) = caught.value.faults
    assert fault.found == "'10 gal'"
    assert fault.allowed == "a length such as '10 ft' or '3 m', 0.2 to 30 m"


def test_an_integer_too_long_to_print_is_refused_all_the_same() -> None:
    with pytest.raises(InputInvalid, match="very many digits"):
        read(16**5000, "")


@pytest.mark.parametrize("value", [10, 10.0, "10", " 10 "])
def test_a_bare_number_is_refused_where_a_unit_is_needed(value: object) -> None:
    with pytest.raises(InputInvalid, match="with its unit"):
        read(value, "m")


def test_a_decimal_comma_is_named_as_the_reason() -> None:
    with pytest.raises(InputInvalid, match="no comma"):
        read("1,5 m", "m")


@pytest.mark.parametrize("text", ["-1 m", "0.19 m", "30.1 m", "99 ft"])
def test_values_outside_the_range_are_refused(text: str) -> None:
    with pytest.raises(InputInvalid, match=r"(0\.2 to 30 m|0\.6562 to 98\.42 ft)$"):
        read_quantity(text, measure("m", 0.2, 30.0), where="row_spacing")


def test_a_percentage_written_as_a_bare_whole_number_is_refused_rather_than_guessed() -> None:
    with pytest.raises(InputInvalid):
        read_quantity(85, measure("%", 40.0, 100.0), where="emission_uniformity")


@given(
    number=st.floats(-1e9, 1e9, allow_nan=False, allow_subnormal=False),
    unit=st.sampled_from(UNITS),
)
def test_a_written_quantity_reads_back_bit_by_bit(number: float, unit: str) -> None:
    assert read(write_quantity(number, unit), unit).hex() == number.hex()


@given(
    number=st.decimals(min_value="0.001", max_value="9999", places=3),
    pair=st.sampled_from([("ft", "m", 0.3048), ("in", "m", 0.0254), ("gal/h", "L/h", 3.785411784)]),
)
def test_conversion_agrees_with_plain_multiplication(
    number: object, pair: tuple[str, str, float]
) -> None:
    unit, target, factor = pair
    assert read(f"{number} {unit}", target) == pytest.approx(float(str(number)) * factor, rel=1e-15)


def test_files_in_si_do_not_pay_for_loading_pint() -> None:
    code = (
        "import sys; from service.farm_files.quantities import Measure, read_quantity; "
        "m = Measure(noun='a length', unit='m', lowest=0, highest=9, examples=('1 m', '3 ft')); "
        "read_quantity('3 m', m, where='x'); assert 'pint' not in sys.modules; "
        "read_quantity('3 ft', m, where='x'); assert 'pint' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=PATIENCE_S)


ROWS = Measure(
    noun="a length", unit="m", lowest=0.2, highest=30.0, examples=("'10 ft'", "'3 m'")
)  # fmt: skip


def allowed_for(value: object, measured: Measure, unit_system: str = "") -> str:
    with pytest.raises(InputInvalid) as refused:
        read_quantity(value, measured, where="farm.toml: key", unit_system=unit_system)
    (fault,) = refused.value.faults
    return fault.allowed


@pytest.mark.parametrize(
    ("value", "unit_system", "bounds"),
    [
        # The unit that was written, whatever the farm's: 0.2 m is 0.65617 ft or 7.874 in, 30 m is
        # 98.425 ft or 1,181.1 in.
        ("400 ft", "si", "0.6562 to 98.42 ft"),
        ("4 inches", "", "7.875 to 1,181 inches"),
        ("400 m", "us", "0.2 to 30 m"),
        ("5000 cm", "us", "20 to 3,000 cm"),
        # Without one that is a length, the farm's.
        ("400", "us", "0.6562 to 98.42 ft"),
        ("400 gal", "us", "0.6562 to 98.42 ft"),
        (None, "us", "0.6562 to 98.42 ft"),
        ("400", "si", "0.2 to 30 m"),
        ("400", "", "0.2 to 30 m"),
    ],
)
def test_bounds_are_said_in_the_unit_that_was_written_or_in_the_farms(
    value: object, unit_system: str, bounds: str
) -> None:
    assert allowed_for(value, ROWS, unit_system).endswith(f", {bounds}")


def test_bounds_in_another_unit_are_within_those_that_count() -> None:
    lowest, _, highest, unit = allowed_for("400 ft", ROWS).rsplit(", ", 1)[1].split()
    assert read_quantity(f"{lowest} {unit}", ROWS, where="") >= ROWS.lowest
    assert read_quantity(f"{highest} {unit}", ROWS, where="") <= ROWS.highest


OFFSET = SiteKeys.tdew_offset.measure


@pytest.mark.parametrize(
    ("value", "difference_c"),
    # A difference of 9 degF is one of 5 degC; a temperature of 9 degF would be -12.8 degC.
    [("9 degF", 5.0), ("9 °F", 5.0), ("2.5 degC", 2.5), (2.5, 2.5), ("2.5", 2.5), (0, 0.0)],
)
def test_a_difference_of_temperatures_is_converted_without_the_offset(
    value: object, difference_c: float
) -> None:
    assert read_quantity(value, OFFSET, where="") == difference_c


@pytest.mark.parametrize(
    ("value", "unit_system", "bounds"),
    [
        ("2 in", "us", "-9 to 36 degF"),
        ("2 in", "si", "-5 to 20 degC"),
        (80, "us", "-9 to 36 degF"),
        ("80 degF", "si", "-9 to 36 degF"),
        ("80 degC", "us", "-5 to 20 degC"),
    ],
)
def test_the_bounds_of_a_difference_are_said_in_the_farms_degrees(
    value: object, unit_system: str, bounds: str
) -> None:
    assert allowed_for(value, OFFSET, unit_system).endswith(f", {bounds}")


@pytest.mark.parametrize(
    ("unit", "lowest", "highest", "example", "bounds"),
    [
        ("m2", 1.0, 5e6, "'2.5 ac'", "0.0002472 to 1,235 ac"),
        ("L/h", 0.1, 100.0, "'0.5 gph'", "0.02642 to 26.41 gph"),
        ("degC", -40.0, 10.0, "'32 degF'", "-40 to 50 degF"),
        ("degC day", 1.0, 8000.0, "'450 degF day'", "1.8 to 14,400 degF day"),
        ("mm", 0.0, 500.0, "'0.2 in'", "0 to 19.68 in"),
        ("mm/h", 0.01, 2000.0, "'2 in/h'", "0.0003938 to 78.74 in/h"),
        ("kPa", 0.0, 2000.0, "'15 psi'", "0 to 290 psi"),
        ("min", 5.0, 1440.0, "'90 min'", "5 to 1,440 min"),
    ],
)
def test_the_us_unit_of_a_measure_is_that_of_its_us_example(
    unit: str, lowest: float, highest: float, example: str, bounds: str
) -> None:
    one = Measure(
        noun="a value", unit=unit, lowest=lowest, highest=highest, examples=("'7 things'", example)
    )
    assert allowed_for(None, one, "us").endswith(f", {bounds}")
