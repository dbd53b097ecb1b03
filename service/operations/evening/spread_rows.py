"""How far the coming week may turn out otherwise, and what a plan stores of it.

It rests on the members of the forecast and changes no plan: it is left out of the digest, so that
a newer forecast with another spread makes no new version of the same plan.
"""

from __future__ import annotations

import numpy as np
import orjson

from service.agronomy.daily_plan import DailyPlan
from service.agronomy.outlook import Outlook
from service.agronomy.records import Floats
from service.agronomy.weather_members import MemberBatch
from service.agronomy.week_spread import WeekSpread, week_of_plan, week_spread
from service.operations.evening.lay_out_pulses import ComingDay

FRACTION_DECIMALS = 3
DEPTH_DECIMALS = 1
"""Of the depletion of a band: a tenth of a millimeter is finer than a chart shows."""


def spread_of_week(
    day: ComingDay,
    plan: DailyPlan,
    outlook: Outlook,
    members: MemberBatch,
    fixed_min: Floats | None,
) -> WeekSpread | None:
    """The week of every block under each course of the weather; None where no site has members."""
    if not members.count()[day.blocks.site_index].any():
        return None
    week = week_of_plan(
        day.blocks,
        day.crop,
        plan,
        outlook,
        windows_of_day=day.windows_of_outlook,
        supply_flow_l_per_h=day.supply_flow_l_per_h,
        fixed_min=fixed_min,
    )
    return week_spread(week, members)


def with_week_spread(documents: tuple[bytes, ...], spread: WeekSpread | None) -> tuple[bytes, ...]:
    """The numbers of plans with what the members say; nothing is added where there are none."""
    if spread is None:
        return documents
    return tuple(
        document if facts is None else document[:-1] + b"," + orjson.dumps(facts)[1:]
        for document, facts in zip(documents, _facts(spread), strict=True)
    )


def _facts(spread: WeekSpread) -> list[dict[str, object] | None]:
    """What is stored of each block."""
    found: list[dict[str, object] | None] = [None] * spread.member_count.size
    rows = np.flatnonzero(spread.member_count > 0)
    minutes = _lists(spread.band_min[:, :, rows], 0)
    depths = _lists(spread.band_depletion_mm[:, :, rows], DEPTH_DECIMALS)
    short = np.stack([spread.short_tomorrow_fraction[rows], spread.short_horizon_fraction[rows]])
    for row, count, own_min, own_mm, (tomorrow, horizon) in zip(
        rows.tolist(),
        spread.member_count[rows].tolist(),
        minutes,
        depths,
        short.round(FRACTION_DECIMALS).T.tolist(),
        strict=True,
    ):
        found[row] = {
            "member_count": count,
            "short_tomorrow_fraction": tomorrow,
            "short_horizon_fraction": horizon,
            "outlook_band_min": own_min,
            "outlook_band_depletion_mm": own_mm,
        }
    return found


def _lists(band: Floats, decimals: int) -> list[list[list[float | None]]]:
    """(shares, days, blocks) as lists by block; what is not known is NaN, which becomes null."""
    values = np.ascontiguousarray(band.round(decimals).transpose(2, 0, 1))
    if not decimals and np.isfinite(values).all():
        values = values.astype(np.int64)  # shorter as text
    lists: list[list[list[float | None]]] = values.tolist()
    return lists
