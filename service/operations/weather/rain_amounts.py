"""Whether the amount of a gauge reading can be stored as it was read."""

from __future__ import annotations

import math

from service.agronomy.units import MM_PER_INCH
from service.errors import Fault, InputInvalid

KINDS = ("measured", "trace", "none", "multi-day")
LARGEST_RAIN_MM = 2000.0
UNLIKELY_RAIN_MM = 150.0
UNLIKELY_RATIO = 5.0
UNLIKELY_MARGIN_MM = 25.0
"""Rain above this, or above this many times the model's and a margin, needs confirmation; ours."""


def check_amount(rain_mm: float, kind: str, *, in_inches: bool = False) -> None:
    """Raise InputInvalid for an amount that no gauge has, or one that its kind does not have."""
    found = f"{rain_mm / MM_PER_INCH:.4g} in" if in_inches else f"{rain_mm:g} mm"
    faults = []
    if kind not in KINDS:
        faults.append(Fault("kind", repr(kind), ", ".join(KINDS)))
    # Written so that NaN fails it too.
    if not 0.0 <= rain_mm <= LARGEST_RAIN_MM:
        most = _at_most(LARGEST_RAIN_MM, in_inches=in_inches)
        faults.append(Fault("amount", found, f"0 to {most}"))
    elif kind in ("trace", "none") and rain_mm > 0.0:
        faults.append(Fault("amount", f"{found} with kind {kind}", f"0; or kind {KINDS[0]}"))
    if faults:
        raise InputInvalid("the reading cannot be stored", faults)


def check_likely(rain_mm: float, model_mm: float, *, in_inches: bool = False) -> None:
    """Raise InputInvalid for an amount unlikely in itself or against the stored weather's."""
    limit_mm, why = UNLIKELY_RAIN_MM, "without being confirmed"
    expected_mm = UNLIKELY_RATIO * model_mm + UNLIKELY_MARGIN_MM
    if expected_mm < limit_mm:
        model = f"{model_mm / MM_PER_INCH:.2f} in" if in_inches else f"{model_mm:.1f} mm"
        limit_mm, why = expected_mm, f"where the stored weather has {model}"
    if rain_mm > limit_mm:
        raise InputInvalid(
            "so much rain asks for a second look at the gauge",
            [
                Fault(
                    "amount",
                    f"{rain_mm / MM_PER_INCH:.2f} in" if in_inches else f"{rain_mm:.1f} mm",
                    f"up to {_at_most(limit_mm, in_inches=in_inches, decimals=1)} {why}; if the"
                    " gauge is right, confirm it (confirm=True, --confirm)",
                )
            ],
        )


def _at_most(limit_mm: float, *, in_inches: bool, decimals: int = 0) -> str:
    """A limit, in inches rounded down, so that what is said passes."""
    if in_inches:
        return f"{math.floor(limit_mm / MM_PER_INCH * 100.0) / 100.0:.2f} in"
    return f"{limit_mm:.{decimals}f} mm"
