"""What a plan stores of the risk that was weighed for it."""

from __future__ import annotations

import numpy as np

from service.agronomy.risk_attitude import RiskAttitude
from service.agronomy.risk_guard import WeighedRisk


def risk_documents(
    risk: WeighedRisk | None, block_count: int, decimals: int
) -> list[dict[str, object]]:
    """The part of each block's document; nothing for blocks that follow the evening rule."""
    found: list[dict[str, object]] = [{} for _ in range(block_count)]
    if risk is None:
        return found
    rows = np.flatnonzero(risk.attitude != RiskAttitude.CLASSIC)
    depth = risk.depth
    columns = {
        "credit_fraction": depth.credit_fraction,
        "must_mm": depth.must_mm,
        "fill_mm": depth.fill_mm,
    }
    table = np.stack([column[rows] for column in columns.values()], axis=1)
    for row, values in zip(rows.tolist(), table.round(decimals).tolist(), strict=True):
        found[row] = {
            "risk_attitude": int(risk.attitude[row]),
            "risk_guard": int(risk.guard[row]),
            **dict(zip(columns, values, strict=True)),
        }
    return found
