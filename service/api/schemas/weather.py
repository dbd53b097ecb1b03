"""The weather behind a plan: values with flags, and where the given ones come from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any, cast

from pydantic import Field

from service.api.schemas.facts import FlagOut, Out, field_flags, known


class OriginOut(Out):
    """Where weather values come from."""

    source: str = Field(description="Name of the weather source.")
    kind: str = Field(description="`observed`, `analysis` or `forecast`.")
    issued_at: datetime = Field(description="When they were issued or recorded, UTC.")


class WeatherValueOut(Out):
    """A weather quantity as the computation used it."""

    name: str = Field(description="The quantity, by name; the name carries the unit.")
    value: float | None = Field(description="The value in the unit of the name; null: not known.")
    flags: list[FlagOut] = Field(description="What is known about the value besides it.")


class WeatherOriginOut(OriginOut):
    """Where a given weather quantity was taken from."""

    name: str = Field(description="The given quantity, by name.")


class WeatherDayOut(Out):
    """The weather of a day: the values used with their flags, and where the given ones are from."""

    day: date
    values: list[WeatherValueOut]
    origins: list[WeatherOriginOut]


def weather_days(basis: Mapping[str, object]) -> list[WeatherDayOut]:
    """The days of a plan's weather reasoning as rows."""
    fields = cast(Mapping[str, list[float | None]], basis["fields"])
    flags = cast(Mapping[str, list[int]], basis["flags"])
    return [
        WeatherDayOut(
            day=date.fromisoformat(day),
            values=[
                WeatherValueOut(
                    name=name,
                    value=known(values[row]),
                    flags=field_flags(flags[name][row]) if name in flags else [],
                )
                for name, values in fields.items()
            ],
            origins=[
                WeatherOriginOut(name=name, **origin) for name, origin in origins_on(basis, row)
            ],
        )
        for row, day in enumerate(cast(list[str], basis["days"]))
    ]


def row_of(basis: Mapping[str, object], day: date) -> int:
    """Place of a day in the columns of a plan's weather reasoning."""
    return cast(list[str], basis["days"]).index(day.isoformat())


def origins_on(basis: Mapping[str, object], row: int) -> Iterable[tuple[str, dict[str, Any]]]:
    """Given quantities of a day with their origin, by name."""
    origins = cast(list[dict[str, Any]], basis["origins"])
    for name, places in cast(Mapping[str, list[int]], basis["origin_of"]).items():
        if places[row] >= 0:
            yield name, origins[places[row]]
