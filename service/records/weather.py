"""Weather by site, day and source, and the answers of its sources."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import chain

import numpy as np

from service.agronomy.records import Days, Floats, Ints

WEATHER_FIELDS: tuple[str, ...] = (
    "tmax_c",
    "tmin_c",
    "tdew_c",
    "ea_kpa",
    "rhmax_pct",
    "rhmin_pct",
    "rhmean_pct",
    "wind_m_s",
    "rs_mj_m2",
    "sunshine_h",
    "rain_mm",
    "rain_probability_fraction",
)
"""The measured or forecast quantities of a weather day; NaN inside, NULL in the database."""


SUN_NOTE = "sun_offset_h"
"""Note on a radiation whose hours do not follow the sun: by how many hours it is late."""


@dataclass(frozen=True, slots=True)
class WeatherRows:
    """Weather days as rows: one per (site, day, source, kind)."""

    site_keys: Ints
    days: Days
    sources: tuple[str, ...]
    kinds: tuple[str, ...]
    """``observed``, ``analysis`` or ``forecast``."""
    issued_at: tuple[datetime, ...]
    """When the values were issued (forecast) or recorded (observed), aware UTC."""
    wind_height_m: Floats
    fields: Mapping[str, Floats]
    """One array per name of ``WEATHER_FIELDS``."""
    field_notes: tuple[Mapping[str, Mapping[str, object]], ...] = ()
    """Per row, notes on single fields, such as ``{"rs_mj_m2": {"hours_present": 24,
    "estimated_from": "sky cover"}}``; an empty tuple: no row has any."""
    fetched_at: tuple[datetime, ...] = ()
    """When each row was last stored, aware UTC; empty for rows that were not read from a store."""

    def __len__(self) -> int:
        return len(self.sources)


def taken_rows(rows: WeatherRows, places: Ints) -> WeatherRows:
    """Some of the rows, by their places."""
    chosen = places.tolist()
    return WeatherRows(
        site_keys=rows.site_keys[places],
        days=rows.days[places],
        sources=tuple(rows.sources[place] for place in chosen),
        kinds=tuple(rows.kinds[place] for place in chosen),
        issued_at=tuple(rows.issued_at[place] for place in chosen),
        wind_height_m=rows.wind_height_m[places],
        fields={name: rows.fields[name][places] for name in WEATHER_FIELDS},
        field_notes=tuple(rows.field_notes[place] for place in chosen) if rows.field_notes else (),
        fetched_at=tuple(rows.fetched_at[place] for place in chosen) if rows.fetched_at else (),
    )


def joined_rows(*parts: WeatherRows) -> WeatherRows:
    """The rows of all parts, one after the other."""
    return WeatherRows(
        site_keys=np.concatenate([part.site_keys for part in parts]),
        days=np.concatenate([part.days for part in parts]),
        sources=tuple(chain.from_iterable(part.sources for part in parts)),
        kinds=tuple(chain.from_iterable(part.kinds for part in parts)),
        issued_at=tuple(chain.from_iterable(part.issued_at for part in parts)),
        wind_height_m=np.concatenate([part.wind_height_m for part in parts]),
        fields={
            name: np.concatenate([part.fields[name] for part in parts]) for name in WEATHER_FIELDS
        },
        field_notes=tuple(
            chain.from_iterable(part.field_notes or ({},) * len(part) for part in parts)
        ),
        fetched_at=tuple(chain.from_iterable(part.fetched_at or part.issued_at for part in parts)),
    )


@dataclass(frozen=True, slots=True)
class FarmRain:
    """Rain of days that farms read at their own gauges: one row per (farm, site, day)."""

    farm_keys: Ints
    site_keys: Ints
    days: Days
    rain_mm: Floats
    """NaN where no reading covers the day any more."""
    recorded_at: tuple[datetime, ...]
    notes: tuple[Mapping[str, Mapping[str, object]], ...]
    """As the ``field_notes`` of weather rows."""

    def __len__(self) -> int:
        return len(self.recorded_at)


FIELD_GROUPS: Mapping[str, tuple[str, ...]] = {
    "temperature": ("tmax_c", "tmin_c"),
    "humidity": ("tdew_c", "ea_kpa", "rhmax_pct", "rhmin_pct", "rhmean_pct"),
    "wind": ("wind_m_s",),
    "radiation": ("rs_mj_m2", "sunshine_h"),
    "rain": ("rain_mm",),
}
"""Fields that stand for one another. A day's temperature is known with both of its fields, anything
else with any of them. All but rain are what reference ET needs."""


@dataclass(frozen=True, slots=True)
class SiteFreshness:
    """How far the weather of one site reaches, as stored."""

    measured_until: Mapping[str, date]
    """By group of ``FIELD_GROUPS``, the last day on which it was observed or analysed; groups that
    were not are missing."""
    forecast_until_day: date | None
    forecast_issued_at: datetime | None
    """When the newest forecast was issued."""

    @property
    def last_measured_day(self) -> date | None:
        """Last day on which all was measured that reference ET takes from measurements here.

        A group that the site does not measure is estimated on every day and does not count. None
        without temperatures. Rain says nothing of it.
        """
        if "temperature" not in self.measured_until:
            return None
        return min(day for group, day in self.measured_until.items() if group != "rain")


STATION_FIELDS: tuple[str, ...] = (
    "temperature_c",
    "tmax_c",
    "tmin_c",
    "tdew_c",
    "ea_kpa",
    "rhmean_pct",
    "rhmax_pct",
    "rhmin_pct",
    "wind_m_s",
    "rs_mj_m2",
    "rain_mm",
)
"""What a grower's station may measure in an interval: means, extremes, and totals of radiation and
rain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StationSetup:
    """What must be known of a grower's station before its files can be read; None: not given."""

    clock: str | None = None
    """IANA zone that the logger's clock follows, or its fixed offset such as ``-06:00``."""
    stamp: str | None = None
    """``start`` or ``end``: which end of its interval a time names."""
    wind_height_m: float | None = None
    radiation: str | None = None
    """``w-m2`` for means, ``mj-m2`` for totals of the interval."""
    columns: Mapping[str, str] = field(default_factory=dict)
    """For columns of the station's files, the name with the unit that this service gives them."""


@dataclass(frozen=True, slots=True)
class StationIntervals:
    """What a station measured, by interval: arrays over intervals that rise and do not overlap,
    except for whole days stored with the intervals that make them up."""

    start_epoch_s: Ints
    end_epoch_s: Ints
    fields: Mapping[str, Floats]
    """One array per name of ``STATION_FIELDS``."""

    def __len__(self) -> int:
        return self.start_epoch_s.size


@dataclass(frozen=True, slots=True)
class Attribution:
    """Attribution for weather data, shown wherever the data are."""

    source: str
    text: str
    url: str
    licence: str


@dataclass(frozen=True, slots=True)
class SourceProblem:
    """Why a source gave nothing, or less than was requested, for a site or for all."""

    source: str
    site_id: str | None
    """None: all sites of the request."""
    reason: str
    """Short and stable: ``timeout``, ``http-502``, ``quota``, ``bad-json``, ``wrong-unit``,
    ``wrong-shape``, ``too-large``, ``breaker-open``, ``stale``, ``no-cover``, ..."""
    message: str
    retry_at: datetime | None = None
    gave_nothing: bool = False
    """True: nothing came for the site, and it may come when the source is asked again."""


@dataclass(frozen=True, slots=True)
class SourceAnswer:
    """The result of one call of a source."""

    rows: WeatherRows
    problems: tuple[SourceProblem, ...] = ()
    request_count: int = 0


@dataclass(frozen=True, slots=True)
class BreakerState:
    """A breaker of one host or one grid cell."""

    key: str
    failure_count: int
    """Failures within the window that began at ``window_began_at``."""
    window_began_at: datetime | None
    open_until: datetime | None
    """None: closed."""
    last_reason: str = ""


@dataclass(frozen=True, slots=True)
class StoredPayload:
    """A raw answer kept for replay, proof and conditional requests; the body is gzipped."""

    url_digest: str
    source: str
    url: str
    fetched_at: datetime
    etag: str | None
    last_modified: str | None
    expires_at: datetime | None
    body_digest: str
    body: bytes
