"""A site whose forecasts are archived, evening after evening. All of it is invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from service.database.session import UnitOfWorkFactory
from service.operations.reading.read_farms import local_day
from service.operations.weather.refresh_weather import WeatherRefresh
from service.records.farms import SiteDefinition
from service.records.forecasts import LEAD_NUMBERS, LeadRows, TruthRows
from service.records.weather import Attribution, SourceAnswer, WeatherRows, joined_rows
from tests.factories import make_weather, make_weather_rows
from tests.stored_farms import ints

RainOf = Callable[[date], float]


class InventedModel:
    """Forecasts even summer weather, with rain that a test chooses; gives no past days."""

    attribution = Attribution("invented-model", "invented", "https://example.org", "none")

    def __init__(
        self, *, name: str = "invented-model", rain_of: RainOf = lambda _: 2.0, age_h: float = 1.0
    ) -> None:
        self.name = name
        self.rain_of = rain_of
        self.age_h = age_h
        self.tmax_c = 30.25

    async def fetch(
        self, sites: Sequence[SiteDefinition], *, first_day: date, last_day: date, now: datetime
    ) -> SourceAnswer:
        """Every day from today on, at every site."""
        del first_day
        parts = []
        for place, site in enumerate(sites):
            today = local_day(now, site.zone)
            weather = make_weather(
                days=(last_day - today).days + 1,
                first_day=today,
                tmax_c=self.tmax_c,
                rain_probability_fraction=0.6,
            )
            weather.rain_mm[:, 0] = [self.rain_of(day) for day in weather.days.tolist()]
            issued_at = now - timedelta(hours=self.age_h)
            parts.append(
                make_weather_rows(
                    weather, site_keys=(place,), source=self.name, kind="forecast",
                    issued_at=issued_at,
                )
            )  # fmt: skip
        return SourceAnswer(joined_rows(*parts))


def refresh(open_unit: UnitOfWorkFactory, model: InventedModel, *, now: datetime) -> None:
    """Ask the model for all sites, as the scheduler would."""
    with open_unit(write=False) as unit:
        keys = unit.blocks.read_site_table().keys
    assert not WeatherRefresh(model, open_unit, days_back=2, forecasts=True)(keys, now=now)


def observe(
    open_unit: UnitOfWorkFactory, first_day: date, rain_mm: Sequence[float], **options: str
) -> None:
    """Store what was observed of days, by a source of a kind."""
    weather = make_weather(days=len(rain_mm), first_day=first_day)
    weather.rain_mm[:, 0] = rain_mm
    facts: dict[str, Any] = {"source": "station", "kind": "observed", **options}
    with open_unit(write=True) as unit:
        key = unit.blocks.get_site_key("hollow")
        rows: WeatherRows = make_weather_rows(weather, site_keys=(key,), **facts)
        unit.weather.save_rows(rows, fetched_at=rows.issued_at[0])


def lead_rows(
    site_key: int, days: Sequence[date], *, leads: Sequence[int] = (1,), **facts: object
) -> LeadRows:
    """Forecasts of days, as a store takes them; ``facts`` are numbers, ``source`` and members."""
    count = len(days)
    numbers = {name: np.full(count, np.nan) for name in LEAD_NUMBERS}
    for name in numbers.keys() & facts.keys():
        numbers[name] = np.broadcast_to(np.asarray(facts[name], dtype=np.float64), (count,)).copy()
    row_count = count * len(leads)
    return LeadRows(
        site_keys=np.full(row_count, site_key, dtype=np.int64),
        days=np.tile(np.array(days, dtype="datetime64[D]"), len(leads)),
        sources=(str(facts.get("source", "invented-model")),) * row_count,
        lead_days=np.repeat(np.array(leads, dtype=np.int64), count),
        member_count=np.full(row_count, int(str(facts.get("member_count", 0))), dtype=np.int64),
        numbers={name: np.tile(values, len(leads)) for name, values in numbers.items()},
    )


def truth_rows(
    site_key: int, days: Sequence[date], *, farm_key: int = 0, **facts: object
) -> TruthRows:
    """Observations of days, as a store takes them."""
    count = len(days)

    def column(name: str, otherwise: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        values = np.asarray(facts.get(name, otherwise), dtype=np.float64)
        return np.broadcast_to(values, (count,)).copy()

    origin = str(facts.get("origin", "observed station"))
    return TruthRows(
        site_keys=np.full(count, site_key, dtype=np.int64),
        days=np.array(days, dtype="datetime64[D]"),
        farm_keys=np.full(count, farm_key, dtype=np.int64),
        rain_mm=column("rain_mm", 0.0),
        et0_mm=column("et0_mm", 5.0),
        tmax_c=column("tmax_c", 30.0),
        rain_origins=(origin,) * count,
        et0_origins=(origin,) * count,
    )


def site_key_of(open_unit: UnitOfWorkFactory) -> int:
    """The key of the one site."""
    with open_unit(write=False) as unit:
        return int(ints(unit.blocks.get_site_key("hollow"))[0])
