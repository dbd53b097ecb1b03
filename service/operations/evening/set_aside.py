"""What the cross-check did to a run's weather, for its flags and for the weather reasoning.

In: the rows, what was set aside in them, and what was chosen in the end. Out: flags of values, and
each value that would have been used had nothing spoken against it, with what was used and why.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Ints
from service.agronomy.site_weather import SiteWeather
from service.agronomy.weather_agreement import Reason
from service.agronomy.weather_choice import NO_ROW, ChosenWeather
from service.agronomy.weather_flags import FieldFlag
from service.agronomy.weather_voices import FIELDS_OF
from service.operations.evening.cross_check import CrossCheck
from service.operations.evening.own_rain import WeatherColumns
from service.records.weather import WeatherRows

CHECKED_FIELD: Mapping[str, str] = {
    "tmax": "tmax_c",
    "tmin": "tmin_c",
    "dewpoint": "ea_kpa",
    "wind": "u2_m_s",
    "radiation": "rs_mj_m2",
    "rain": "rain_mm",
}
"""By quantity, the field of the checked weather that rests on it."""
SHOWN_FIELD: Mapping[str, str] = {
    "tmax": "tmax_c",
    "tmin": "tmin_c",
    "dewpoint": "tdew_c",
    "wind": "u2_m_s",
    "radiation": "rs_mj_m2",
    "rain": "rain_mm",
}
"""By quantity, in which name, and so unit, a value that was set aside is shown."""
SHOWN_DECIMALS = 2


@dataclass(frozen=True, slots=True)
class SetAside:
    """What was set aside in the rows of a run although its source is trusted most."""

    rows: WeatherRows
    check: CrossCheck
    is_passed_over: Mapping[str, NDArray[np.bool_]]
    """(rows,) by quantity."""
    day: Ints
    column: Ints
    """(rows,) the place of each row in the tables."""

    def flagged(self, weather: SiteWeather) -> SiteWeather:
        """The weather with flags where this is so, and where nothing settles the doubt."""
        if not self.is_passed_over:
            return weather
        flags = {name: values.copy() for name, values in weather.checked.flags.items()}
        for name, rows in self.is_passed_over.items():
            field = flags[CHECKED_FIELD[name]]
            field[self.day[rows], self.column[rows]] |= np.int32(FieldFlag.SOURCE_SET_ASIDE)
            field |= np.int32(FieldFlag.SOURCES_DISAGREE) * self.check.is_doubtful[name]
        return replace(weather, checked=replace(weather.checked, flags=flags))

    def by_column(self) -> dict[int, list[dict[str, object]]]:
        """Value, source and reason of each, by column."""
        found: dict[int, list[dict[str, object]]] = {}
        for name, mask in self.is_passed_over.items():
            for row in np.flatnonzero(mask).tolist():
                found.setdefault(int(self.column[row]), []).append(
                    {
                        "day": str(self.rows.days[row].astype("datetime64[D]")),
                        "name": SHOWN_FIELD[name],
                        "value": round(_shown(name, row, self.rows, self.check), SHOWN_DECIMALS),
                        "source": self.rows.sources[row],
                        "kind": self.rows.kinds[row],
                        "reason": Reason(int(self.check.reason_of[name][row])).name.lower(),
                    }
                )
        for entries in found.values():
            entries.sort(key=_order)
        return found


def values_set_aside(
    check: CrossCheck, columns: WeatherColumns, chosen: ChosenWeather, *, rank: Ints
) -> SetAside:
    """The values that would have been taken for some field, had they not been set aside."""
    day = (columns.rows.days - chosen.raw.days[0]).astype(np.int64)
    column = columns.column_of_row
    found: dict[str, NDArray[np.bool_]] = {}
    for name, codes in check.reason_of.items():
        best = np.full(rank.shape, np.iinfo(np.int64).min)
        for field in FIELDS_OF[name]:
            taken = chosen.row_of[field][day, column]
            has = taken != NO_ROW
            best[has] = np.maximum(best[has], rank[taken[has]])
        is_aside = (codes != Reason.NONE) & np.isfinite(check.values[name])
        found[name] = is_aside & (rank >= best)
    return SetAside(columns.rows, check, found, day, column)


def is_doubted(weather: SiteWeather, rows: slice) -> NDArray[np.bool_]:
    """(sites,) whether anything was set aside or left in doubt on these days."""
    raised = np.bitwise_or.reduce([flags[rows] for flags in weather.checked.flags.values()])
    doubts = np.int32(FieldFlag.SOURCE_SET_ASIDE | FieldFlag.SOURCES_DISAGREE)
    return np.asarray(((raised & doubts) != 0).any(axis=0))


def set_aside_since(first_day: date, entries: Sequence[Mapping[str, object]]) -> dict[str, object]:
    """What was set aside from a day on, as a part of the weather reasoning; nothing without any."""
    shown = [entry for entry in entries if str(entry["day"]) >= first_day.isoformat()]
    return {"set_aside": shown} if shown else {}


def _order(entry: Mapping[str, object]) -> list[str]:
    return [str(entry[name]) for name in ("day", "name", "source", "kind")]


def _shown(name: str, row: int, rows: WeatherRows, check: CrossCheck) -> float:
    value = float(check.values[name][row])
    if name == "wind":
        return float(np.exp(value))
    if name == "radiation":
        return float(rows.fields["rs_mj_m2"][row])
    return value
