"""Weather of past seasons for commands: a file that is named, or else what is stored of a site."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from service.agronomy.records import Days, Floats
from service.cli.terminal import note, open_service, parse_day
from service.errors import WeatherInvalid
from service.farm_files.weather_file import read_weather_file
from service.operations.evening.measured_weather import at_standard_wind_height
from service.operations.review.stored_weather import WHAT_TO_DO, read_stored_weather
from service.records.farms import FarmBundle

PastWeatherOption = Annotated[
    Path | None,
    typer.Option(
        "--weather",
        help="CSV with one line per day; default: all that was measured at the site, as stored.",
    ),
]
FirstDayOption = Annotated[
    date | None,
    typer.Option(
        "--from", parser=parse_day, metavar="DATE", help="Default: 1 January of --to's year."
    ),
]
LastDayOption = Annotated[
    date | None,
    typer.Option("--to", parser=parse_day, metavar="DATE", help="Default: the weather's last day."),
]


@dataclass(frozen=True, slots=True)
class PastWeather:
    """One place's days, and the farm whose sites have their wind as these have it."""

    bundle: FarmBundle
    days: Days
    fields: Mapping[str, Floats]
    site_id: str = ""
    """Whose stored weather this is; empty: a file's."""


def past_weather(path: Path | None, bundle: FarmBundle, *, site_id: str | None) -> PastWeather:
    """The file's days, or those stored of the site, which is none where the farm is a file's."""
    if path is not None:
        content = read_weather_file(path)
        return PastWeather(bundle, content.days, content.fields)
    if site_id is None or bundle.farm is None:
        message = "a farm file has no weather of its own: give a file with --weather"
        raise typer.BadParameter(message)
    service = open_service()
    found = read_stored_weather(
        bundle.farm.farm_id, site_id, unit_of_work=service.unit_of_work, clock=service.clock,
        source_order=service.source_order,
    )  # fmt: skip
    years = ", ".join(map(str, found.years))
    note(
        f"weather: as measured at {site_id} and stored, {found.days[0]} to {found.days[-1]}\n"
        f"years: {years}"
    )
    return PastWeather(at_standard_wind_height(bundle), found.days, found.fields, site_id)


def span_of(
    weather: PastWeather, first_day: date | None, last_day: date | None
) -> tuple[date, date]:
    """The days to run: by default the last year of the weather, as far as there is weather."""
    begins, ends = weather.days[0].item(), weather.days[-1].item()
    last = last_day or ends
    return first_day or max(begins, date(last.year, 1, 1)), last


@contextmanager
def says_what_to_do(weather: PastWeather) -> Iterator[None]:
    """Where the stored weather does not do, the error is followed by what can be done."""
    try:
        yield
    except WeatherInvalid:
        if weather.site_id:
            note(f"needed: {WHAT_TO_DO.format(site=weather.site_id)}")
        raise
