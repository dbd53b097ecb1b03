"""Whether the amount of a gauge reading can be stored as it was read."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import timedelta

from service.agronomy.rain_booking import AROUND_ONE_DAY_H
from service.errors import Fault, InputInvalid
from service.records.feedback import GaugeReading
from service.unit_sizes import MM_PER_INCH

KINDS = ("measured", "trace", "none", "multi-day")
LARGEST_RAIN_MM = 2000.0
UNLIKELY_RAIN_MM = 150.0
UNLIKELY_RATIO = 5.0
UNLIKELY_MARGIN_MM = 25.0
"""Rain above this, or above this many times the model's and a margin, needs confirmation; ours."""


class AmountRefused(InputInvalid):
    """An amount that cannot be stored, which can be said in inches or in millimetres."""

    def __init__(
        self, message: str, faults: Sequence[Fault], in_inches: Sequence[Fault] = ()
    ) -> None:
        super().__init__(message, faults)
        self.in_inches = tuple(in_inches)
        """The same faults in inches."""


@contextmanager
def faults_in_inches(is_wanted: bool) -> Iterator[None]:
    """Say in inches what is wrong with the amount of a reading, for one that was read in inches."""
    try:
        yield
    except AmountRefused as refused:
        if not is_wanted:
            raise
        raise InputInvalid(refused.message, refused.in_inches) from refused


def check_amount(rain_mm: float, kind: str) -> None:
    """Raise AmountRefused for an amount that no gauge has, or one that its kind does not have."""

    def faults(in_inches: bool) -> list[Fault]:
        found = f"{rain_mm / MM_PER_INCH:.4g} in" if in_inches else f"{rain_mm:g} mm"
        listed = []
        if kind not in KINDS:
            listed.append(Fault("kind", repr(kind), ", ".join(KINDS)))
        # Written so that NaN fails it too.
        if not 0.0 <= rain_mm <= LARGEST_RAIN_MM:
            listed.append(Fault("amount", found, f"0 to {_limit(LARGEST_RAIN_MM, in_inches, 0)}"))
        elif kind in ("trace", "none") and rain_mm > 0.0:
            listed.append(Fault("amount", f"{found} with kind {kind}", f"0; or kind {KINDS[0]}"))
        return listed

    if found := faults(False):
        raise AmountRefused("the reading cannot be stored", found, faults(True))


def check_likely(rain_mm: float, model_mm: float) -> None:
    """Raise AmountRefused for an amount unlikely in itself or against the stored weather's."""
    expected_mm = UNLIKELY_RATIO * model_mm + UNLIKELY_MARGIN_MM
    limit_mm = min(UNLIKELY_RAIN_MM, expected_mm)

    def faults(in_inches: bool) -> list[Fault]:
        why = "without being confirmed"
        if expected_mm < UNLIKELY_RAIN_MM:
            why = f"where the stored weather has {_depth(model_mm, in_inches)}"
        allowed = (
            f"up to {_limit(limit_mm, in_inches, 1)} {why}; if the gauge is right, confirm it"
            " (confirm=True, --confirm)"
        )
        return [Fault("amount", _depth(rain_mm, in_inches), allowed)]

    if rain_mm > limit_mm:
        raise AmountRefused(
            "so much rain asks for a second look at the gauge", faults(False), faults(True)
        )


def _depth(depth_mm: float, in_inches: bool) -> str:
    return f"{depth_mm / MM_PER_INCH:.2f} in" if in_inches else f"{depth_mm:.1f} mm"


def _limit(limit_mm: float, in_inches: bool, decimals: int) -> str:
    """A limit, in inches rounded down, so that what is said passes."""
    if in_inches:
        return f"{math.floor(limit_mm / MM_PER_INCH * 100.0) / 100.0:.2f} in"
    return f"{limit_mm:.{decimals}f} mm"


def booking_rule(reading: GaugeReading) -> str:
    """How the days of a reading are chosen, in words."""
    hours = (reading.read_at - reading.covers_from) / timedelta(hours=1)
    if hours <= AROUND_ONE_DAY_H:
        return "all of it to the day that most of its time lies in"
    return (
        "over the days that lie in its time by more than half, by the stored weather's rain of"
        " each, or evenly where that knows of none"
    )
