"""How good the forecasts were: what was issued for a site held against what was observed there.

Nothing is guessed. Where a gauge, a station or a file has measured in the span, days known from
models alone do not count; a source whose unit looks changed is not scored; a site that has moved
restarts; and each of these is flagged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from service.agronomy.forecast_checks import UnitBreak, find_unit_break, missing_days
from service.agronomy.forecast_scores import (
    FEWEST_PAIRS,
    last_useful_lead_days,
    score_amounts,
    score_chances,
)
from service.agronomy.records import Days, Floats, Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.evening.own_rain import PLACE
from service.operations.reading.read_farms import local_day
from service.operations.weather.archived_spread import archived_spread, quantiles_of
from service.ports import Clock
from service.records.forecast_members import ENSEMBLE_SOURCE
from service.records.forecast_quality import (
    ArchiveFlag,
    LeadScores,
    SiteQuality,
    SourceQuality,
    Truth,
)
from service.records.forecasts import (
    LONGEST_LEAD_DAYS,
    ForecastPlace,
    LeadRows,
    TruthRows,
)

SCORED_DAYS = 180
"""[CHOICE] Days back that are scored: a season; models are changed oftener than every second."""
SILENT_DAYS = 2
"""[CHOICE] A source that has issued nothing for longer is not in use."""


@dataclass(frozen=True, slots=True)
class _Observed:
    """What was observed at one site, by day of the span; arrays (days,)."""

    first_day: np.datetime64
    rain_mm: Floats
    et0_mm: Floats
    tmax_c: Floats
    rain_origins: NDArray[np.str_]
    et0_origins: NDArray[np.str_]

    def rows_of(self, days: Days) -> Ints:
        """The place of each day."""
        return (days - self.first_day).astype(np.int64)


@dataclass(frozen=True, slots=True)
class _Standing:
    """What is known of a source beside its forecasts."""

    is_in_use: bool
    is_silent: bool
    """It has issued nothing for days."""
    has_moved: bool
    """The site has moved since an earlier archive."""
    others_ended: bool
    """Another source was there in the span and has fallen silent."""


def read_forecast_quality(
    site_ids: Sequence[str],
    farm_id: str | None,
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
) -> list[SiteQuality]:
    """How good the forecasts were at each site, over the last half year.

    ``farm_id``: the farm whose own gauge counts; None: the record of the places alone. Raises
    NotFound for an unknown site or farm.
    """
    with unit_of_work(write=False) as unit:
        farm_key = PLACE if farm_id is None else unit.blocks.farm_keys([farm_id])[farm_id]
        return quality_of_sites(
            unit,
            [unit.blocks.get_site_key(site_id) for site_id in site_ids],
            farm_key=farm_key,
            clock=clock,
            source_order=source_order,
        )


def quality_of_sites(
    unit: UnitOfWork,
    site_keys: Sequence[int],
    *,
    farm_key: int,
    clock: Clock,
    source_order: Mapping[str, int],
    lead_days: int | None = None,
) -> list[SiteQuality]:
    """As :func:`read_forecast_quality`, in the order of the keys; of one lead alone if given."""
    keys = np.unique(np.array(site_keys, dtype=np.int64))
    sites = unit.blocks.read_site_table(keys)
    today = {
        int(key): local_day(clock.now(), site.zone)
        for key, site in zip(sites.keys, sites.definitions, strict=True)
    }
    first_day = min(today.values()) - timedelta(days=SCORED_DAYS)
    span = {"first_day": first_day, "last_day": max(today.values()) + timedelta(LONGEST_LEAD_DAYS)}
    places = unit.forecasts.list_places(keys)
    leads = unit.forecasts.read_leads(keys, **span, lead_days=lead_days)
    truth = unit.forecasts.read_truth(keys, **span)
    definition = {int(key): site for key, site in zip(sites.keys, sites.definitions, strict=True)}
    found = []
    for key in site_keys:
        place, site = places.get(key), definition[key]
        sources: tuple[SourceQuality, ...] = ()
        if place is not None:
            own = leads_of(leads, key, place)
            observed = _observed(truth, key, farm_key, first_day=first_day)
            sources = _sources(own, observed, place, today[key], source_order)
        found.append(
            SiteQuality(
                site_id=site.site_id,
                site_name=site.name,
                first_day=None if place is None else place.first_day,
                moved_on=place.first_day if place is not None and place.has_moved else None,
                sources=sources,
            )
        )
    return found


def leads_of(leads: LeadRows, site_key: int, place: ForecastPlace) -> LeadRows:
    """The forecasts of one site that were issued since its archive began."""
    since = leads.issued_on() >= np.datetime64(place.first_day)
    is_own = (leads.site_keys == site_key) & since
    return _taken(leads, is_own)


def _taken(leads: LeadRows, which: NDArray[np.bool_]) -> LeadRows:
    return LeadRows(
        site_keys=leads.site_keys[which],
        days=leads.days[which],
        sources=tuple(np.array(leads.sources, dtype=np.str_)[which].tolist()),
        lead_days=leads.lead_days[which],
        member_count=leads.member_count[which],
        numbers={name: values[which] for name, values in leads.numbers.items()},
    )


def _observed(truth: TruthRows, site_key: int, farm_key: int, *, first_day: date) -> _Observed:
    """By day of the span, what a farm observed at its own gauge, else what the place has."""
    begins = np.datetime64(first_day)
    day_count = SCORED_DAYS + LONGEST_LEAD_DAYS + 3  # sites of other zones are a day apart
    columns = {name: np.full(day_count, np.nan) for name in ("rain_mm", "et0_mm", "tmax_c")}
    origins = {name: np.full(day_count, "", dtype=object) for name in ("rain", "et0")}
    for owner in dict.fromkeys((PLACE, farm_key)):  # the farm's own goes over the place's
        which = np.flatnonzero((truth.site_keys == site_key) & (truth.farm_keys == owner))
        rows = (truth.days[which] - begins).astype(np.int64)
        for name, values in columns.items():
            values[rows] = getattr(truth, name)[which]
        for name, values in origins.items():
            said = np.array(getattr(truth, f"{name}_origins"), dtype=object)
            values[rows] = said[which]
    return _Observed(
        first_day=begins,
        **columns,
        rain_origins=origins["rain"].astype(np.str_),
        et0_origins=origins["et0"].astype(np.str_),
    )


def _sources(
    leads: LeadRows,
    observed: _Observed,
    place: ForecastPlace,
    today: date,
    source_order: Mapping[str, int],
) -> tuple[SourceQuality, ...]:
    names = np.array(leads.sources, dtype=np.str_)
    silent_since = np.datetime64(today) - SILENT_DAYS
    issued_on = leads.issued_on()
    last_issue = {name: issued_on[names == name].max() for name in sorted(set(leads.sources))}
    active = [name for name, day in last_issue.items() if day >= silent_since]
    single = [name for name in active if not name.startswith(ENSEMBLE_SOURCE)]
    in_use = max(single, key=lambda name: source_order.get(name, 0), default=None)
    found = [
        _source(
            name,
            _taken(leads, names == name),
            observed,
            today,
            _Standing(
                is_in_use=name == in_use,
                is_silent=name not in active,
                has_moved=place.has_moved,
                others_ended=any(
                    day < silent_since
                    for other, day in last_issue.items()
                    if other != name and not other.startswith(ENSEMBLE_SOURCE)
                ),
            ),
        )
        for name in last_issue
    ]
    past = [each for each in found if each is not None]
    return tuple(sorted(past, key=lambda each: (not each.is_in_use, each.source)))


def _source(
    name: str, leads: LeadRows, observed: _Observed, today: date, standing: _Standing
) -> SourceQuality | None:
    """One source, or None where no day has come yet that it had forecast."""
    is_past = (leads.days < np.datetime64(today)) & (leads.days >= observed.first_day)
    leads = _taken(leads, is_past)
    if not len(leads):
        return None
    first, last = leads.days.min(), np.datetime64(today) - 1
    if standing.is_silent:
        last = leads.days.max()
    span = observed.rows_of(np.arange(first, last + 1, dtype="datetime64[D]"))
    rain_truth = _truth_of(observed.rain_origins[span], name)
    et0_truth = _truth_of(observed.et0_origins[span], name)
    held = {
        "rain_mm": np.where(_counts(observed.rain_origins, rain_truth), observed.rain_mm, np.nan),
        "et0_mm": np.where(_counts(observed.et0_origins, et0_truth), observed.et0_mm, np.nan),
    }
    next_day = _taken(leads, leads.lead_days == leads.lead_days.min())
    unissued = missing_days(next_day.days, first, last).size
    unobserved = int(np.isnan(held["rain_mm"][span]).sum())
    broken = _unit_break(next_day, observed, held["rain_mm"])
    scores = () if broken else _lead_scores(leads, observed, held)
    most = max((max(each.rain.pair_count, each.et0.pair_count) for each in scores), default=0)
    flags = {
        ArchiveFlag.UNIT_CHANGED: broken is not None,
        ArchiveFlag.TOO_FEW: broken is None and most < FEWEST_PAIRS,
        ArchiveFlag.SITE_MOVED: standing.has_moved,
        ArchiveFlag.SOURCE_SWITCHED: standing.is_in_use and standing.others_ended,
        ArchiveFlag.STOPPED: standing.is_silent,
        ArchiveFlag.GAPS: bool(unissued or unobserved),
    }
    lead_days = np.array([each.lead_days for each in scores], dtype=np.int64)
    return SourceQuality(
        source=name,
        is_in_use=standing.is_in_use,
        first_day=first.astype("datetime64[D]").item(),
        last_day=last.astype("datetime64[D]").item(),
        rain_truth=rain_truth,
        et0_truth=et0_truth,
        flags=tuple(flag for flag, is_raised in flags.items() if is_raised),
        missing_forecast_day_count=unissued,
        missing_observed_day_count=unobserved,
        unit_changed_on=None if broken is None else broken.day.astype("datetime64[D]").item(),
        leads=scores,
        last_useful_rain_lead_days=last_useful_lead_days(
            lead_days, np.array([each.rain.skill_ratio for each in scores])
        ),
        last_useful_et0_lead_days=last_useful_lead_days(
            lead_days, np.array([each.et0.skill_ratio for each in scores])
        ),
    )


def _truth_of(origins: NDArray[np.str_], source: str) -> Truth:
    """What the days of a span are held against: measurements, if there are any at all."""
    known = set(origins[origins != ""].tolist())
    if any(origin.startswith("observed ") for origin in known):
        return Truth.MEASURED
    if not known:
        return Truth.NONE
    return Truth.OWN_MODEL if f"analysis {source}" in known else Truth.OTHER_MODEL


def _counts(origins: NDArray[np.str_], truth: Truth) -> NDArray[np.bool_]:
    """Which days' observations count."""
    if truth is Truth.MEASURED:
        return np.asarray(np.char.startswith(origins, "observed "))
    return np.asarray(origins != "")


def _unit_break(leads: LeadRows, observed: _Observed, rain_mm: Floats) -> UnitBreak | None:
    rows = observed.rows_of(leads.days)
    return find_unit_break(
        leads.days,
        leads.numbers["tmax_c"],
        observed.tmax_c[rows],
        leads.numbers["rain_mm"],
        rain_mm[rows],
    )


def _lead_scores(
    leads: LeadRows, observed: _Observed, held: Mapping[str, Floats]
) -> tuple[LeadScores, ...]:
    spread = archived_spread(leads)
    found = []
    for lead in np.unique(leads.lead_days).tolist():
        which = leads.lead_days == lead
        days, numbers = leads.days[which], {k: v[which] for k, v in leads.numbers.items()}
        rows = observed.rows_of(days)
        amounts = {
            name: score_amounts(
                days,
                numbers[f"{name}_mm"],
                held[f"{name}_mm"][rows],
                members_mm=spread.members_mm[name][which],
                weights=spread.weights[which],
                band_mm=(spread.band_mm[name][0][which], spread.band_mm[name][1][which]),
                quantiles=quantiles_of(leads, which, name),
            )
            for name in ("rain", "et0")
        }
        chance = numbers["rain_probability_fraction"]
        scores = score_chances(days, chance, held["rain_mm"][rows])
        found.append(LeadScores(lead, amounts["rain"], scores, amounts["et0"]))
    return tuple(found)
