"""Members of ensembles corrected by what came of those of the last ninety days at the same place.

In: earlier issues and what was observed since. Out: corrections by site and model, which are stored
with the members of an evening, since they are learned before it and take longer than reading them.
What was observed is the archive's: a gauge or station before a model.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

import numpy as np

from service.agronomy.member_calibration import LeadCorrection, MemberPairs, correction_of
from service.agronomy.records import Floats, Ints
from service.database.session import UnitOfWork
from service.operations.evening.own_rain import PLACE
from service.records.forecast_members import StoredMembers

LEARNED_DAYS = 90
"""As long as members are kept."""
LEADS = 7

Corrections = Mapping[tuple[int, str], LeadCorrection]


def read_corrections(unit: UnitOfWork, site_keys: Ints, *, first_day: date) -> Corrections:
    """The corrections of members issued for ``first_day`` on, by key of the site and model."""
    since = first_day - timedelta(days=LEARNED_DAYS)
    yesterday = first_day - timedelta(days=2)
    truth = _Truth(unit, site_keys, since, yesterday)
    issues: dict[tuple[int, str], list[StoredMembers]] = {}
    for issue in unit.members.read(site_keys, first_day=since, last_day=yesterday):
        if issue.site_key in truth.sites:
            issues.setdefault((issue.site_key, issue.model), []).append(issue)
    on = np.datetime64(first_day)
    return {
        key: correction_of(_pairs(own, truth, site_key=key[0]), on=on)
        for key, own in issues.items()
    }


class _Truth:
    """What was observed of the days of a span, by site."""

    def __init__(self, unit: UnitOfWork, site_keys: Ints, first_day: date, last_day: date) -> None:
        self._first = np.datetime64(first_day)
        self._size = (last_day - first_day).days + 1
        rows = unit.forecasts.read_truth(site_keys, first_day=first_day, last_day=last_day)
        own = np.flatnonzero(rows.farm_keys == PLACE)
        self.sites = set(rows.site_keys[own].tolist())
        self._of: dict[int, Floats] = {
            key: np.full((2, self._size + LEADS), np.nan) for key in self.sites
        }
        place = (rows.days - self._first).astype(np.int64)
        for row in own.tolist():
            table = self._of[int(rows.site_keys[row])]
            table[:, place[row]] = rows.rain_mm[row], rows.et0_mm[row]

    def from_day(self, site_key: int, day: date) -> Floats:
        """(2, leads) rain and reference ET of the days from one on; NaN where not known."""
        begin = int((np.datetime64(day) - self._first).astype(np.int64))
        return self._of[site_key][:, begin : begin + LEADS]


def _pairs(issues: Sequence[StoredMembers], truth: _Truth, *, site_key: int) -> MemberPairs:
    most = max(1, *(issue.rain_mm.shape[0] for issue in issues))
    members = np.full((2, len(issues), most, LEADS), np.nan)
    observed = np.full((2, len(issues), LEADS), np.nan)
    for row, issue in enumerate(issues):
        count, days = issue.rain_mm.shape
        members[:, row, :count, :days] = issue.rain_mm, issue.et0_mm
        observed[:, row] = truth.from_day(site_key, issue.first_day)
    first_days = np.array([issue.first_day for issue in issues], dtype="datetime64[D]")
    return MemberPairs(
        days=first_days[:, np.newaxis] + np.arange(LEADS).astype("timedelta64[D]"),
        rain_mm=members[0],
        et0_mm=members[1],
        observed_rain_mm=observed[0],
        observed_et0_mm=observed[1],
    )
