"""What amounts a gauge reading may have, said in the unit that it was read in."""

from __future__ import annotations

import math

import pytest

from service.errors import Fault, InputInvalid
from service.operations.weather.rain_amounts import check_amount, check_likely, faults_in_inches

INCH = 25.4


def fault_of(refused: pytest.ExceptionInfo[InputInvalid]) -> Fault:
    (fault,) = refused.value.faults
    return fault


@pytest.mark.parametrize(
    ("in_inches", "found", "allowed"),
    [(True, "90 in", "0 to 78.74 in"), (False, "2286 mm", "0 to 2000 mm")],
)
def test_more_than_any_gauge_holds_is_refused(in_inches: bool, found: str, allowed: str) -> None:
    with pytest.raises(InputInvalid) as refused, faults_in_inches(in_inches):
        check_amount(90 * INCH, "measured")
    assert (fault_of(refused).found, fault_of(refused).allowed) == (found, allowed)


def test_what_is_not_a_number_is_refused_in_either_unit() -> None:
    for in_inches in (True, False):
        with pytest.raises(InputInvalid, match="nan"), faults_in_inches(in_inches):
            check_amount(math.nan, "measured")


def test_much_more_than_the_stored_weather_asks_for_confirmation_in_the_readers_unit() -> None:
    # Five times 2 mm and 25 mm are 35 mm, 1.378 in; said rounded down, so that it passes.
    with pytest.raises(InputInvalid) as refused, faults_in_inches(True):
        check_likely(2.0 * INCH, 2.0)
    assert fault_of(refused).found == "2.00 in"
    assert fault_of(refused).allowed.startswith(
        "up to 1.37 in where the stored weather has 0.08 in;"
    )
    with faults_in_inches(True):
        check_likely(1.37 * INCH, 2.0)
    with pytest.raises(InputInvalid) as refused:
        check_likely(50.8, 2.0)
    assert fault_of(refused).allowed.startswith(
        "up to 35.0 mm where the stored weather has 2.0 mm;"
    )


def test_a_cloudburst_asks_for_confirmation_whatever_is_stored() -> None:
    most = r"up to 5\.90 in without being confirmed"
    with pytest.raises(InputInvalid, match=most), faults_in_inches(True):
        check_likely(6.0 * INCH, 100.0)
    with faults_in_inches(True):
        check_likely(5.9 * INCH, 100.0)
