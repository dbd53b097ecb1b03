"""Open-Meteo's ensemble host, as far as this service asks it. All weather is invented.

Members differ from the control run by a factor of rain and some degrees, both by their number. The
key names, the array for several places and the echo of units are those of the real service.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta

import numpy as np
import orjson
from numpy.typing import NDArray

from service.records.forecast_members import ENSEMBLE_MEMBERS

ENSEMBLE_PATH = "/v1/ensemble"
HOUR_S = 3600
UNITS = {
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "wind_speed_10m": "m/s",
    "shortwave_radiation": "W/m²",
    "precipitation": "mm",
}
Hours = NDArray[np.int64]
Columns = Mapping[str, NDArray[np.float64]]


def spread_out(weather: Columns, member: int) -> dict[str, NDArray[np.float64]]:
    """The weather of a member: every third is dry, others have more or less rain and warmth."""
    wetness = 0.0 if member % 3 == 1 else 0.4 + 0.1 * (member % 13)
    warmth = 0.3 * (member % 7 - 3)
    return {
        "temperature_2m": np.round(weather["temperature_2m"] + warmth, 1),
        "relative_humidity_2m": np.round(weather["relative_humidity_2m"]),
        "wind_speed_10m": np.round(weather["wind_speed_10m"] * (1.0 + 0.02 * (member % 5)), 2),
        "shortwave_radiation": np.round(weather["shortwave_radiation"]),
        "precipitation": np.round(weather["precipitation"] * wetness, 2),
    }


def ensemble_answer(
    query: Mapping[str, str],
    now: datetime,
    weather: Callable[[float, float, Hours], Columns],
) -> bytes | None:
    """The body of an answer; None for a question that the service refuses."""
    models = query.get("models", "ncep_gefs_seamless").split(",")
    names = query["hourly"].split(",")
    if not set(names) <= set(UNITS) or not set(models) <= set(ENSEMBLE_MEMBERS):
        return None
    first = now.astimezone(UTC).date() - timedelta(days=int(query["past_days"]))
    days = int(query["past_days"]) + int(query["forecast_days"])
    begin = round(datetime(first.year, first.month, first.day, tzinfo=UTC).timestamp())
    hours = begin + HOUR_S * np.arange(24 * days)
    entries = []
    for index, (latitude, longitude) in enumerate(
        zip(query["latitude"].split(","), query["longitude"].split(","), strict=True)
    ):
        control = weather(float(latitude), float(longitude), hours)
        columns: dict[str, NDArray[np.float64]] = {}
        units = {"time": query["timeformat"]}
        for model in models:
            ending = f"_{model}" if len(models) > 1 else ""
            for member in range(ENSEMBLE_MEMBERS[model]):
                own = f"_member{member:02d}" if member else ""
                values = spread_out(control, member)
                for name in names:
                    columns[f"{name}{own}{ending}"] = values[name]
                    units[f"{name}{own}{ending}"] = UNITS[name]
        entry: dict[str, object] = {
            "latitude": round(float(latitude), 1),
            "longitude": round(float(longitude), 1),
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "hourly_units": units,
            "hourly": {"time": hours, **columns},
        }
        if index:
            entry["location_id"] = index
        entries.append(entry)
    answer = entries[0] if len(entries) == 1 else entries
    return orjson.dumps(answer, option=orjson.OPT_SERIALIZE_NUMPY)  # NaN becomes null
