"""What a list of parts costs at the prices that somebody wrote down.

In: parts, prices by part, area, and a budget where there is one. Out: cost of each line, of the
block and of an acre, and which prices are missing. A currency is whatever the prices are in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.errors import Fault, InputInvalid
from service.unit_sizes import M2_PER_ACRE, M2_PER_HECTARE
from service.waterworks.parts_list import Part, PartUnit

COMMON_SHARE_FRACTION = 0.2
"""Share of drip in a budget for establishing perennial fruit: about a fifth, common practice, no
source."""


@dataclass(frozen=True, slots=True)
class UnitPrice:
    """The price of a piece, or of a metre of pipe."""

    price: float
    amount: float | None = None
    """Pieces or metres to count instead of the list's; needed for a line of one's own."""


@dataclass(frozen=True, slots=True)
class CostLine:
    """One part with its price."""

    key: str
    amount: float
    unit: str
    """``piece`` or ``m``."""
    unit_price: float
    cost: float
    is_own: bool = False
    """A line that the list does not have, such as labor."""


@dataclass(frozen=True, slots=True)
class PartsCost:
    """What the priced lines cost together."""

    lines: tuple[CostLine, ...]
    missing: tuple[str, ...]
    """Keys of parts without a price: the sums do not hold them."""
    cost: float
    cost_per_ha: float
    cost_per_acre: float
    budget: float | None
    """Of establishing the whole block."""
    budget_share_fraction: float | None
    common_share_fraction: float = COMMON_SHARE_FRACTION


def parts_cost(
    parts: Sequence[Part],
    prices: Mapping[str, UnitPrice],
    *,
    area_m2: float,
    budget: float | None = None,
) -> PartsCost:
    """Cost of a block's parts, and of an acre and a hectare of it.

    Shapes: (parts,), prices by key, scalars.
    budget: for establishing the whole block, in the currency of the prices.
    Returns: PartsCost; prices below 0 and budgets that are not above 0 raise ``InputInvalid``.
    Equation: cost = sum of amount x unit price; per acre = cost x 4046.86 / area.
    >>> line = Part("drip-line", "Drip line", 1000.0, PartUnit.LENGTH)
    >>> found = parts_cost([line], {"drip-line": UnitPrice(0.5)}, area_m2=4046.8564224,
    ...     budget=2500.0)
    >>> found.cost, found.cost_per_acre, found.budget_share_fraction
    (500.0, 500.0, 0.2)
    """
    _check(prices, budget)
    listed = {part.key: part for part in parts}
    lines = [_line(part, prices[part.key]) for part in parts if part.key in prices]
    lines += [
        CostLine(key, price.amount, PartUnit.PIECE.value, price.price,
                 price.amount * price.price, is_own=True)
        for key, price in prices.items()
        if key not in listed and price.amount is not None
    ]  # fmt: skip
    cost = sum(line.cost for line in lines)
    return PartsCost(
        lines=tuple(lines),
        missing=tuple(
            key for key, part in listed.items() if key not in prices and not part.is_optional
        ),
        cost=cost,
        cost_per_ha=cost * M2_PER_HECTARE / area_m2,
        cost_per_acre=cost * M2_PER_ACRE / area_m2,
        budget=budget,
        budget_share_fraction=None if budget is None else cost / budget,
    )


def _line(part: Part, price: UnitPrice) -> CostLine:
    amount = part.amount if price.amount is None else price.amount
    return CostLine(part.key, amount, part.unit.value, price.price, amount * price.price)


def _check(prices: Mapping[str, UnitPrice], budget: float | None) -> None:
    faults = [
        Fault(key, f"{price.price:g}", "a price of 0 or more")
        for key, price in prices.items()
        if not 0.0 <= price.price < 1e9
    ]
    faults += [
        Fault(key, f"{price.amount:g}", "an amount of 0 or more")
        for key, price in prices.items()
        if price.amount is not None and not 0.0 <= price.amount < 1e9
    ]
    if budget is not None and not 0.0 < budget < 1e12:
        faults.append(Fault("budget", f"{budget:g}", "above 0"))
    if faults:
        raise InputInvalid("these prices cannot be used", faults)
