"""Keep what an ensemble forecast for each lead in the archive of forecasts, so that it is scored.

Of the members of a day there stay their mean, the share with rain, and ten quantiles at the middles
of equal slices, which stand for them when the members themselves are gone. They are those that
decisions use: corrected by what earlier issues at the place have taught.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from service.agronomy.forecast_scores import RAIN_EVENT_MM
from service.agronomy.member_calibration import corrected_members
from service.agronomy.records import Floats
from service.database.session import UnitOfWork
from service.records.forecast_members import ENSEMBLE_SOURCE, StoredMembers
from service.records.forecasts import ET0_QUANTILES, LEAD_NUMBERS, MEMBER_QUANTILES, LeadRows

FEWEST_MEMBERS = 10
"""[CHOICE] Of fewer the quantiles would be the same few members again."""


def archived_source(model: str) -> str:
    """The name under which the forecasts of a model's members are kept."""
    return f"{ENSEMBLE_SOURCE} {model}"


def archive_members(unit: UnitOfWork, issued: Sequence[StoredMembers]) -> None:
    """Store the leads of these issues; the same issue again changes nothing."""
    kept = [each for each in issued if each.numbers.size >= FEWEST_MEMBERS]
    if kept:
        unit.forecasts.save_leads(lead_rows(kept))


def lead_rows(issued: Sequence[StoredMembers]) -> LeadRows:
    """The issues as the archive has them."""
    counts = [each.rain_mm.shape[1] for each in issued]
    numbers = [_numbers(each) for each in issued]
    first_days = np.array([each.first_day for each in issued], dtype="datetime64[D]")
    ahead = np.concatenate([np.arange(count) for count in counts])
    return LeadRows(
        site_keys=np.repeat([each.site_key for each in issued], counts),
        days=np.repeat(first_days, counts) + ahead.astype("timedelta64[D]"),
        sources=tuple(
            archived_source(each.model)
            for each, count in zip(issued, counts, strict=True)
            for _ in range(count)
        ),
        lead_days=ahead + 1,
        member_count=np.repeat([each.numbers.size for each in issued], counts),
        numbers={
            name: np.concatenate([columns[name] for columns in numbers]) for name in LEAD_NUMBERS
        },
    )


def _numbers(issue: StoredMembers) -> dict[str, Floats]:
    """By name of ``LEAD_NUMBERS``, (leads,)."""
    rain_mm, et0_mm = issue.rain_mm, issue.et0_mm
    if issue.correction is not None:
        own = issue.correction.of_leads(rain_mm.shape[1])
        rain_mm, et0_mm = corrected_members(rain_mm, et0_mm, own)
    found = {name: np.full(rain_mm.shape[1], np.nan) for name in LEAD_NUMBERS}
    found["rain_mm"], found["et0_mm"] = rain_mm.mean(axis=0), et0_mm.mean(axis=0)
    found["rain_probability_fraction"] = (rain_mm >= RAIN_EVENT_MM).mean(axis=0)
    for name, members_mm, shares in (
        ("rain", rain_mm, MEMBER_QUANTILES),
        ("et0", et0_mm, ET0_QUANTILES),
    ):
        for share in (*shares, 10, 50, 90):
            found[f"{name}_p{share:02d}_mm"] = np.quantile(members_mm, share / 100.0, axis=0)
    return found
