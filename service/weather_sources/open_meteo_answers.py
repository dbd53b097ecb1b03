"""What questions to Open-Meteo and its answers have in common, whichever of its hosts is asked.

The question names places and units, the answer has one entry per place with times and columns, the
quota counts weights, and a refusal says in words how long to wait.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from service.agronomy.records import Floats, Ints
from service.records.farms import SiteDefinition
from service.weather_sources.answer_shape import (
    AnswerInvalid,
    as_list,
    numbers,
    require_unit,
)
from service.weather_sources.day_fields import Instants

MOST_PAST_DAYS = 92
MOST_FORECAST_DAYS = 16
MOST_HOURS = 24 * (MOST_PAST_DAYS + MOST_FORECAST_DAYS + 2)


def place_query(sites: Sequence[SiteDefinition]) -> dict[str, str]:
    """The part of a question that names places and units."""
    return {
        "latitude": ",".join(f"{site.latitude_deg:.4f}" for site in sites),
        "longitude": ",".join(f"{site.longitude_deg:.4f}" for site in sites),
        "elevation": ",".join(f"{site.elevation_m:.0f}" for site in sites),
        "temperature_unit": "celsius",
        "wind_speed_unit": "ms",
        "precipitation_unit": "mm",
    }


def day_query(past: int, future: int) -> dict[str, str]:
    """The part of a question that names days, as so many before and after today."""
    return {
        "past_days": str(min(max(past, 0), MOST_PAST_DAYS)),
        "forecast_days": str(min(max(future + 1, 0), MOST_FORECAST_DAYS)),
    }


def request_weight(sites: int, variables: int, days: int) -> float:
    """What a request counts against the quota: per site 1, or more for much data.

    A variable of an ensemble counts once for each member.
    """
    return sites * max(1.0, variables / 10.0, variables / 10.0 * days / 14.0)


def quota_wait(remark: str, at: datetime) -> timedelta | None:
    """The wait that follows from the wording of the service's three quotas.

    >>> quota_wait("Minutely API request limit exceeded. Please try again in one minute.", at=None)
    datetime.timedelta(seconds=60)
    """
    words = remark.lower()
    if "limit exceeded" not in words:
        return None
    if "minute" in words:
        return timedelta(minutes=1)
    hour = at.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    if "hour" in words:
        return hour + timedelta(hours=1) - at
    if "tomorrow" in words or "daily" in words:
        return hour.replace(hour=0) + timedelta(days=1) - at
    return None


def entries_of(content: object, site_count: int) -> list[object]:
    """One entry per site: an object for one site, else an array in the order of the request."""
    entries: list[object] = [content] if isinstance(content, dict) else as_list(content, "answer")
    if len(entries) != site_count:
        raise AnswerInvalid(
            "wrong-shape", f"answer: {len(entries)} places for {site_count} that were asked for"
        )
    return entries


@dataclass(frozen=True, slots=True)
class HourStamps:
    """The times of an answer: hours in rising order without a step left out."""

    times: Instants
    count: int
    """Stamps in the answer."""
    _order: Ints
    _firsts: Ints
    _place: Ints

    def in_order(self, values: Floats) -> Floats:
        """Values of the stamps, (stamps, ...), by hour; NaN for an hour that was not given.

        A time that comes twice counts once if its values agree, else it is not known.
        """
        ordered = values[self._order]
        lowest = np.fmin.reduceat(ordered, self._firsts)
        highest = np.fmax.reduceat(ordered, self._firsts)
        agreed = np.full((self.times.size, *values.shape[1:]), np.nan)
        agreed[self._place] = np.where(lowest == highest, lowest, np.nan)
        return agreed


def read_stamps(hourly: Mapping[str, object], units: Mapping[str, object]) -> HourStamps:
    """The times of the hours of one place."""
    require_unit(units.get("time"), "unixtime", "hourly.time")
    stamps = as_list(hourly.get("time"), "hourly.time")
    seconds = numbers(stamps, "hourly.time", length=len(stamps))
    if not stamps or not ((np.abs(seconds) < 1e11) & (seconds % 3600 == 0)).all():
        raise AnswerInvalid("wrong-shape", "hourly.time: not whole hours")
    order = np.argsort(seconds, kind="stable")
    stamped, firsts = np.unique(seconds[order], return_index=True)
    if stamped[-1] - stamped[0] > MOST_HOURS * 3600.0:
        raise AnswerInvalid("wrong-shape", "hourly.time: spread over more than was asked for")
    hours = np.arange(stamped[0], stamped[-1] + 1.0, 3600.0)  # without a step left out
    return HourStamps(
        times=hours.astype(np.int64).astype("datetime64[s]"),
        count=len(stamps),
        _order=order,
        _firsts=firsts,
        _place=np.searchsorted(hours, stamped),
    )
