"""The courses that the coming weather may take at the sites of a run.

In: the stored members of ensembles, and the weather of the run as it was gathered. Out: a
:class:`MemberBatch` whose sites are the columns of that weather, and what is known about the
members. Where no ensemble can be used, members are made from the chance of rain and the amount of
the forecast in use; where there is no forecast either, a site has none.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import orjson
from numpy.typing import NDArray

from service.agronomy.effective_rain import IGNORED_RAIN_RATIO
from service.agronomy.member_calibration import corrected_members
from service.agronomy.member_checks import REFUSED, MemberFlag, doubts
from service.agronomy.rain_members import PlainForecast, members_of_forecast
from service.agronomy.records import Floats, Ints
from service.agronomy.weather_choice import NO_ROW
from service.agronomy.weather_members import (
    NEEDED_DAYS,
    MemberBatch,
    MemberOrigin,
    filled_up,
    pooled_members,
    weighted_quantile,
    weighted_share,
    without,
)
from service.database.session import UnitOfWork
from service.operations.evening.gather_weather import (
    OLDEST_FORECAST_H,
    GatheredWeather,
    WeatherDocuments,
)
from service.records.forecast_members import StoredMembers

EXPECTED_AMOUNT_SOURCES = frozenset({"nws-grid"})
"""Sources whose amount of rain is the expected one: chance times what falls if it rains."""
RAIN_BAND = {"rain_p10_mm": 0.1, "rain_p50_mm": 0.5, "rain_p90_mm": 0.9}
WET_MM = 0.2  # [CHOICE] mm, rain from which a day counts as one with rain
FEWEST_MEMBERS = 15
"""[CHOICE] With fewer whole members a site is treated as one without an ensemble."""


@dataclass(frozen=True, slots=True)
class GatheredMembers:
    """Members at the sites of a run, in the order of the columns of its weather."""

    batch: MemberBatch
    flags: Ints
    """(sites,) bits of :class:`MemberFlag`."""
    models: tuple[str, ...]
    """By site, the models in use, joined; empty where there is no ensemble."""


def gather_members(unit: UnitOfWork, weather: GatheredWeather, *, now: datetime) -> GatheredMembers:
    """The members from the day after the weather's evening on, as known then."""
    first_day = weather.on + timedelta(days=1)
    made = made_members(weather, first_day=first_day)
    seen_from = min(now, datetime.combine(first_day, time(12), tzinfo=UTC))
    issues = _issues(unit, weather, first_day=first_day, seen_from=seen_from)
    oldest = seen_from - timedelta(hours=OLDEST_FORECAST_H)
    at_hand = [issues.get(key, []) for key in weather.sites.keys.tolist()]
    of_site = [[each for each in own if each.first_seen_at >= oldest] for own in at_hand]
    has_issue = np.array([bool(own) for own in of_site])
    pooled = pooled_members(
        made.days,
        [[_on_days(_corrected(issue), made) for issue in own] for own in of_site],
        fewest_count=FEWEST_MEMBERS,
    )
    rain_mm, chance, et0_mm = _plain(weather, first_day)
    flags = doubts(pooled, forecast_rain_mm=rain_mm, forecast_chance=chance, forecast_et0_mm=et0_mm)
    flags |= np.array(
        [_issue_flags(own, used) for own, used in zip(at_hand, of_site, strict=True)],
        dtype=np.int64,
    )
    is_short = (pooled.count() == 0) & has_issue
    flags |= np.where(is_short, int(MemberFlag.TOO_FEW), 0)
    batch = filled_up(without(pooled, (flags & int(REFUSED)) != 0), made)
    has_no_chance = np.isnan(chance[:, :NEEDED_DAYS]).any(axis=1)
    flags |= np.where(
        (batch.origin == MemberOrigin.PROBABILITY) & has_no_chance, int(MemberFlag.FROM_AMOUNT), 0
    )
    return GatheredMembers(
        batch=batch,
        flags=flags,
        models=tuple(
            ", ".join(issue.model for issue in own) if origin == MemberOrigin.ENSEMBLE else ""
            for own, origin in zip(of_site, batch.origin.tolist(), strict=True)
        ),
    )


def with_spread(documents: WeatherDocuments, members: GatheredMembers) -> WeatherDocuments:
    """The weather reasoning of sites with the spread of their rain, which makes it no other.

    Nothing is added where a site has no members.
    """
    return replace(
        documents,
        documents=[
            document[:-1] + b"," + orjson.dumps(facts)[1:] if facts else document
            for document, facts in zip(documents.documents, _spread_facts(members), strict=True)
        ],
    )


def _spread_facts(members: GatheredMembers) -> list[dict[str, object]]:
    """What is stored of the members of each site.

    Amounts that one in ten, half and nine in ten of the members do not pass, and the shares of the
    members with rain, and with rain that counts for the root zone, by day.
    """
    batch = members.batch
    if not batch.count().any():
        return [{} for _ in members.models]
    by_day, weights = batch.rain_mm.swapaxes(1, 2), batch.weights[:, np.newaxis]
    columns = {
        name: np.round(weighted_quantile(by_day, weights, share), 2)
        for name, share in RAIN_BAND.items()
    }
    columns["wet_fraction"] = np.round(weighted_share(by_day >= WET_MM, weights), 3)
    counts_mm = IGNORED_RAIN_RATIO * batch.et0_mm.swapaxes(1, 2)
    columns["counted_fraction"] = np.round(
        weighted_share((by_day >= counts_mm) & (by_day > 0.0), weights), 3
    )
    ends = np.isnan(columns["rain_p50_mm"])
    for name in ("wet_fraction", "counted_fraction"):  # the courses of a site end together
        columns[name][ends] = np.nan
    days = [str(day) for day in batch.days]
    counts = batch.count().tolist()
    return [
        {
            "rain_spread": {
                "days": days,
                "member_count": counts[site],
                "models": models,
                "flags": flags,
                **{name: values[site].tolist() for name, values in columns.items()},
            }
        }
        if counts[site]
        else {}
        for site, (models, flags) in enumerate(
            zip(members.models, members.flags.tolist(), strict=True)
        )
    ]


def _issues(
    unit: UnitOfWork, weather: GatheredWeather, *, first_day: date, seen_from: datetime
) -> Mapping[int, list[StoredMembers]]:
    """The newest issue of each model that reaches far enough, by key of the site."""
    newest: dict[tuple[int, str], StoredMembers] = {}
    for issue in unit.members.read(
        np.unique(weather.sites.keys),
        first_day=first_day - timedelta(hours=OLDEST_FORECAST_H),
        last_day=first_day,
    ):
        reaches = issue.first_day + timedelta(days=issue.rain_mm.shape[1])
        if issue.fetched_at <= seen_from and reaches >= first_day + timedelta(days=NEEDED_DAYS):
            newest[issue.site_key, issue.model] = issue
    found: dict[int, list[StoredMembers]] = {}
    for (site_key, _), issue in sorted(newest.items()):
        found.setdefault(site_key, []).append(issue)
    return found


def _on_days(issue: StoredMembers, wanted: MemberBatch) -> tuple[Floats, Floats]:
    """Rain and reference ET of an issue on the days wanted, NaN beyond its end."""
    late = int((wanted.days[0] - np.datetime64(issue.first_day)).astype(np.int64))
    cut = []
    for courses_mm in (issue.rain_mm, issue.et0_mm):
        own = courses_mm[:, late : late + wanted.days.size]
        missing = wanted.days.size - own.shape[1]
        cut.append(np.pad(own, ((0, 0), (0, missing)), constant_values=np.nan))
    return cut[0], cut[1]


def _corrected(issue: StoredMembers) -> StoredMembers:
    """An issue with the correction that was learned for it, by its own leads."""
    if issue.correction is None:
        return issue
    own = issue.correction.of_leads(issue.rain_mm.shape[1])
    rain_mm, et0_mm = corrected_members(issue.rain_mm, issue.et0_mm, own)
    return replace(issue, rain_mm=rain_mm, et0_mm=et0_mm)


def _issue_flags(at_hand: list[StoredMembers], used: list[StoredMembers]) -> int:
    known = [issue.correction for issue in used]
    raised = {
        MemberFlag.TOO_OLD: len(used) < len(at_hand),
        MemberFlag.HOLES: any(issue.hole_count for issue in used),
        MemberFlag.FROZEN: any(issue.frozen_count for issue in used),
        MemberFlag.OLD_RUN: any(issue.is_old_run for issue in used),
        MemberFlag.UNCALIBRATED: any(each is None or each.is_empty for each in known),
        MemberFlag.NO_SKILL: any(each is not None and each.lacks_skill for each in known),
    }
    return sum(int(flag) for flag, is_raised in raised.items() if is_raised)


# --- without an ensemble -------------------------------------------------------------------------


def made_members(weather: GatheredWeather, *, first_day: date) -> MemberBatch:
    """Members from the chance of rain and the amount of the forecast, from ``first_day`` on."""
    first = int((np.datetime64(first_day) - weather.days[0]).astype(np.int64))
    rain_mm, chance, et0_mm = _plain(weather, first_day)
    return members_of_forecast(
        PlainForecast(
            days=weather.days[first:],
            rain_mm=rain_mm,
            rain_probability_fraction=chance,
            is_expected_amount=_is_expected_amount(weather, first).T,
            et0_mm=et0_mm,
            seeds=np.array(
                [zlib.crc32(site.site_id.encode()) for site in weather.sites.definitions],
                dtype=np.int64,
            ),
        )
    )


def _plain(weather: GatheredWeather, first_day: date) -> tuple[Floats, Floats, Floats]:
    """Rain, its chance and reference ET of the forecast, (sites, days); NaN where it has none."""
    first = int((np.datetime64(first_day) - weather.days[0]).astype(np.int64))
    raw, used = weather.chosen.raw, weather.weather.days
    chance = raw.rain_probability_fraction[first:]
    return (
        np.where(np.isfinite(raw.rain_mm[first:]), used.rain_mm[first:], np.nan).T,
        np.where(np.isfinite(chance), used.rain_probability_fraction[first:], np.nan).T,
        used.et0_mm[first:].T,
    )


def _is_expected_amount(weather: GatheredWeather, first: int) -> NDArray[np.bool_]:
    """(days, sites) whether the source of the rain gives chance times amount."""
    row_of = weather.chosen.row_of["rain_mm"][first:]
    of_row = np.array(
        [source in EXPECTED_AMOUNT_SOURCES for source in weather.rows.sources] or [False]
    )
    return np.asarray((row_of != NO_ROW) & of_row[row_of])
