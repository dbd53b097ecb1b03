"""Power, energy and cost of pumping a run.

In: flow, head, the efficiency of pump and motor together, minutes and a price. Out: kilowatts,
kilowatt-hours and money.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.errors import Fault, InputInvalid

GRAVITY_M_S2 = 9.80665  # standard gravity
COMMON_EFFICIENCY_PCT = 60.0  # [CHOICE]: common practice, no source: 50 to 75 % from the wire


@dataclass(frozen=True, slots=True)
class PumpingCost:
    """What a run takes of the pump."""

    power_kw: float
    energy_kwh: float
    cost: float | None
    """In the currency of the price; None without a price."""


def pumping_cost(
    flow_l_per_h: float,
    head_m: float,
    *,
    efficiency_pct: float = COMMON_EFFICIENCY_PCT,
    duration_min: float,
    energy_price: float | None = None,
) -> PumpingCost:
    """Power, energy and cost of a run.

    Shapes: scalars.
    head_m: all that the pump gives, lift and pressure and losses; efficiency_pct: of pump and motor
    together.
    Returns: PumpingCost; numbers out of range raise ``InputInvalid``.
    Equation: P = density g Q H / efficiency, 1 kg/L.
    >>> round(pumping_cost(27_000.0, 30.0, duration_min=60.0).power_kw, 2)
    3.68
    """
    faults = [
        Fault(name, f"{value:g}", allowed)
        for name, value, is_fine, allowed in (
            ("flow_l_per_h", flow_l_per_h, 0.0 < flow_l_per_h < math.inf, "above 0 L/h"),
            ("head_m", head_m, 0.0 < head_m <= 1000.0, "above 0 and up to 1000 m"),
            ("efficiency_pct", efficiency_pct, 5.0 <= efficiency_pct <= 95.0, "5 to 95 %"),
            ("duration_min", duration_min, 0.0 <= duration_min < math.inf, "0 min or more"),
            (
                "energy_price", energy_price or 0.0, 0.0 <= (energy_price or 0.0) < math.inf,
                "0 or more",
            ),
        )
        if not is_fine
    ]  # fmt: skip
    if faults:
        raise InputInvalid("the cost of pumping cannot be computed", faults)
    power = flow_l_per_h / 3600.0 * GRAVITY_M_S2 * head_m / (efficiency_pct / 100.0) * 1e-3
    energy = power * duration_min / 60.0
    return PumpingCost(power, energy, None if energy_price is None else energy * energy_price)
