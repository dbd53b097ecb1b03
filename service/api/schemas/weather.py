"""The weather behind a plan: values with flags, and the origin of each input."""

from __future__ import annotations

from datetime import date, datetime

from pydantic import Field

from service.agronomy.weather_agreement import REASON_TEXT
from service.api.schemas.facts import FlagOut, Out, field_flags, known
from service.attributions import attribution_line
from service.records.weather_basis import WeatherBasis


class OriginOut(Out):
    """Origin of weather values."""

    source: str = Field(description="Name of the weather source.")
    kind: str = Field(description="`observed`, `analysis` or `forecast`.")
    issued_at: datetime = Field(description="When they were issued or recorded, UTC.")
    attribution: str | None = Field(
        description="Attribution to show with the values, with license; null: none required."
    )


class WeatherValueOut(Out):
    """A weather quantity as the computation used it."""

    name: str = Field(description="The quantity, by name; the name carries the unit.")
    value: float | None = Field(description="The value in the unit of the name; null: not known.")
    flags: list[FlagOut] = Field(description="Flags on the value.")


class WeatherOriginOut(OriginOut):
    """Where a given weather quantity was taken from."""

    name: str = Field(description="The given quantity, by name.")
    fetched_at: datetime = Field(description="When this service received it, UTC.")
    hours_present: float | None = Field(
        description="Hours of the day covered by the source; null: it gave a daily value."
    )
    estimated_from: str | None = Field(
        description="What the value was estimated from; null: the source's own value."
    )


class WeatherDayOut(Out):
    """The weather of a day: the values used with their flags, and where the given ones are from."""

    day: date
    values: list[WeatherValueOut]
    origins: list[WeatherOriginOut]


class BorrowedEtOut(Out):
    """Past days whose reference ET is that of a place nearby times a ratio."""

    first_day: date = Field(description="First day.")
    last_day: date = Field(description="Last day.")
    distance_km: float = Field(description="How far away the place is, km.")
    neighbour_ratio: float = Field(
        description="Sum of reference ET at the site over that at the place, on days around that"
        " both know."
    )
    common_days_count: int = Field(description="How many days those are.")


class ValueSetAsideOut(Out):
    """A value of the most trusted source that was not used."""

    day: date
    name: str = Field(
        description="The quantity, by name; wind is that at 2 m, humidity is given as the dewpoint."
    )
    value: float = Field(description="What the source said, in the unit of the name.")
    used: float | None = Field(description="What was used in its place; null: nothing is known.")
    source: str = Field(description="Name of the weather source.")
    kind: str = Field(description="`observed`, `analysis` or `forecast`.")
    reason: str = Field(
        description="`physics`, `others`, `past`, `others-all-days`, `past-all-days`, `day-order`,"
        " `sun-hours` or `cloudburst`."
    )
    text: str = Field(description="The reason in words.")


def values_set_aside(weather: WeatherBasis) -> list[ValueSetAsideOut]:
    """What was set aside in the weather behind a plan."""
    return [
        ValueSetAsideOut(
            day=each.day,
            name=each.name,
            value=each.value,
            used=known(each.used),
            source=each.source,
            kind=each.kind,
            reason=each.reason.name.lower().replace("_", "-"),
            text=REASON_TEXT[each.reason],
        )
        for each in weather.set_aside
    ]


def borrowed_spans(weather: WeatherBasis) -> list[BorrowedEtOut]:
    """The borrowed days of the weather behind a plan."""
    return [
        BorrowedEtOut(
            first_day=span.first_day,
            last_day=span.last_day,
            distance_km=span.distance_km,
            neighbour_ratio=span.neighbour_ratio,
            common_days_count=span.common_days_count,
        )
        for span in weather.borrowed
    ]


def weather_days(weather: WeatherBasis) -> list[WeatherDayOut]:
    """The days of the weather behind a plan as rows."""
    return [
        WeatherDayOut(
            day=day,
            values=[
                WeatherValueOut(
                    name=name,
                    value=known(values[row]),
                    flags=field_flags(weather.flags[name][row]) if name in weather.flags else [],
                )
                for name, values in weather.fields.items()
            ],
            origins=[
                WeatherOriginOut(
                    name=field.name,
                    source=field.origin.source,
                    kind=field.origin.kind,
                    issued_at=field.origin.issued_at,
                    attribution=attribution_line(field.origin.source),
                    fetched_at=field.origin.fetched_at,
                    hours_present=field.hours_present,
                    estimated_from=field.estimated_from,
                )
                for field in weather.field_origins(day)
            ],
        )
        for row, day in enumerate(weather.days)
    ]
