"""Hindcasts of past seasons: evenings run again, one after the other, without storing anything."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from rich.text import Text

from service.agronomy.records import Floats
from service.cli import shown
from service.cli.against import (
    AgainstOption,
    DaysAWeekOption,
    NitrogenOption,
    Output,
    WaterPriceOption,
    show_comparison,
)
from service.cli.figures import CsvOption, csv_text, number_text, refuse_both
from service.cli.past_weather import (
    FirstDayOption,
    LastDayOption,
    PastWeather,
    PastWeatherOption,
    past_weather,
    says_what_to_do,
    span_of,
)
from service.cli.pipes import SvgOption
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    open_service,
    out,
    paragraph,
    plain_table,
    print_json,
    print_text,
    progress_bar,
)
from service.errors import Fault, WeatherInvalid
from service.farm_files.farm_file import read_farm_file
from service.farm_files.rule_text import read_against
from service.farm_files.weather_file import read_weather_file
from service.operations.farms.change_farms import get_block_now, get_farm_now
from service.operations.review.compare_programs import compare_programs
from service.operations.review.hindcast import Hindcast, narrow_bundle, weekly_figures
from service.operations.review.hindcast import hindcast as run_hindcast
from service.operations.review.own_program import find_own_runs
from service.records.farms import FarmBundle
from service.records.ledger import ALLEY_NUMBERS


class ForecastError(StrEnum):
    """What each evening of a hindcast knows about the next day."""

    NONE = "none"
    YESTERDAY = "yesterday"


# --- a past season -------------------------------------------------------------------------------


def hindcast(
    target: Annotated[
        str, typer.Argument(metavar="BLOCK|FARM.toml", help="A stored block, or a farm file.")
    ],
    weather_file: PastWeatherOption = None,
    first_day: FirstDayOption = None,
    last_day: LastDayOption = None,
    forecast_error: Annotated[
        ForecastError,
        typer.Option(help="none: each evening knows the next day; yesterday: it expects the last."),
    ] = ForecastError.NONE,
    rain: Annotated[
        str,
        typer.Option(help="none, column (of the weather), or a CSV with date and rain."),
    ] = "column",
    against: AgainstOption = None,
    days_a_week: DaysAWeekOption = 7,
    water_price: WaterPriceOption = None,
    nitrogen: NitrogenOption = None,
    svg: SvgOption = None,
    units: UnitsOption = None,
    as_csv: CsvOption = False,
    as_json: JsonOption = False,
) -> None:
    """Schedule a past season day by day: ledger, weekly gross need, peak week, totals.

    With --against, compare the daily plan with a rule of thumb, a timer set once a week, and what
    was run in the block.
    """
    refuse_both(as_csv, as_json)
    asked = None
    if against is not None:
        asked = read_against(
            against, days_a_week=days_a_week, water_price=water_price, nitrogen=nitrogen
        )
    bundle, wanted = _target(target)
    site_id = next((each.site_id for each in bundle.blocks if each.block_id == wanted), None)
    weather = past_weather(weather_file, bundle, site_id=site_id)
    bundle, days = weather.bundle, weather.days
    fields = {**weather.fields, "rain_mm": _rain_mm(rain, weather)}
    system = units or UnitSystem(bundle.farm.unit_system if bundle.farm else "si")
    begins, ends = span_of(weather, first_day, last_day)
    span = {"first_day": begins, "last_day": ends}
    if asked is not None and wanted is not None:
        own = find_own_runs(wanted, **span, unit_of_work=open_service().unit_of_work)
        asked = replace(asked, own=own)
    day_count = (ends - begins).days + 1
    with says_what_to_do(weather), progress_bar("days", day_count) as progress:
        if asked is not None:
            found = compare_programs(bundle, days, fields, **span, against=asked, progress=progress)
        else:
            result = run_hindcast(
                bundle, days, fields, **span, forecast_error=forecast_error.value,
                progress=progress,
            )  # fmt: skip
    if asked is not None:
        output = Output(units=system, as_csv=as_csv, as_json=as_json, svg=svg)
        show_comparison(found, wanted, asked, output)
    else:
        _show_hindcast(result, wanted, system, as_csv=as_csv, as_json=as_json)


def _show_hindcast(
    result: Hindcast, wanted: str | None, units: UnitSystem, *, as_csv: bool, as_json: bool
) -> None:
    chosen = [place for place, name in enumerate(result.block_ids) if wanted in (None, name)]
    if as_csv:
        print_text(
            csv_text(
                ("block_id", "date", *_ledger_columns(result)),
                (row for place in chosen for row in _ledger_rows(result, place)),
            )
        )
        return
    summaries = [_summary(result, place) for place in chosen]
    if as_json:
        print_json([_season_document(result, summary) for summary in summaries])
        return
    for summary in summaries:
        _show_season(result, summary, units)


def _target(target: str) -> tuple[FarmBundle, str | None]:
    """The blocks to run and the one to show; None shows all blocks of a farm file."""
    if target.endswith(".toml"):
        return read_farm_file(Path(target)), None
    service = open_service()
    block = get_block_now(target, unit_of_work=service.unit_of_work, clock=service.clock)
    bundle = get_farm_now(block.farm_id, unit_of_work=service.unit_of_work, clock=service.clock)
    return narrow_bundle(bundle, block.block_id), block.block_id


def _rain_mm(choice: str, weather: PastWeather) -> Floats:
    if choice == "none":
        return np.zeros(weather.days.size)
    if choice == "column":
        return weather.fields["rain_mm"]
    other = read_weather_file(Path(choice))
    place = np.searchsorted(other.days, weather.days)
    place = np.minimum(place, other.days.size - 1)
    found = other.days[place] == weather.days
    rain_mm = np.where(found, other.fields["rain_mm"][place], np.nan)
    if np.isnan(rain_mm).all():
        raise WeatherInvalid(
            f"no rain for any day of the weather in {Path(choice).name}",
            [Fault(choice, "no day in common", "a column rain_mm or rain_in on the same days")],
        )
    return rain_mm


@dataclass(frozen=True, slots=True)
class _Summary:
    """A season of one block in a few figures."""

    place: int
    weeks: list[dict[str, object]]
    peak_week: dict[str, object]
    totals: Mapping[str, float]


def _summary(result: Hindcast, place: int) -> _Summary:
    weeks = [
        {
            "first_day": week.first_day,
            "day_count": week.day_count,
            "et0_mm": round(week.et0_mm, 2),
            "rain_mm": round(week.rain_mm, 2),
            "crop_et_mm": round(week.crop_et_mm, 2),
            "actual_crop_et_mm": round(week.actual_crop_et_mm, 2),
            "gross_mm": round(week.gross_mm, 2),
        }
        for week in weekly_figures(result, place)
    ]
    season = result.season
    totals = {
        "et0_mm": result.et0_mm[:, place].sum(),
        "rain_mm": result.rain_mm[:, place].sum(),
        "rain_entering_mm": season.ledger.rain_entering_mm[:, place].sum(),
        "crop_et_mm": season.crop.crop_et_mm[:, place].sum(),
        "actual_crop_et_mm": season.ledger.actual_crop_et_mm[:, place].sum(),
        "gross_mm": season.gross_mm[:, place].sum(),
        "irrigation_drainage_mm": season.ledger.irrigation_drainage_mm[:, place].sum(),
        "rain_drainage_mm": season.ledger.rain_drainage_mm[:, place].sum(),
        "lost_crop_et_mm": (season.crop.crop_et_mm - season.ledger.actual_crop_et_mm)[
            :, place
        ].sum(),
        "largest_shortfall_mm": season.shortfall_mm[:, place].max(),
        "alley_et_mm": season.crop.alley_et_mm[:, place].sum(),
    }
    return _Summary(
        place=place,
        weeks=weeks,
        peak_week=max(weeks, key=lambda week: float(str(week["gross_mm"]))),
        totals={
            **{name: round(float(value), 2) for name, value in totals.items()},
            "watered_day_count": int((season.planned_min[:, place] > 0).sum()),
            "short_day_count": int((season.shortfall_mm[:, place] > 0.0).sum()),
        },
    )


def _season_document(result: Hindcast, summary: _Summary) -> dict[str, object]:
    names = _ledger_columns(result)
    return {
        "block_id": result.block_ids[summary.place],
        "first_day": result.days[0].item(),
        "last_day": result.days[-1].item(),
        "totals": summary.totals,
        "peak_week": summary.peak_week,
        "weeks": summary.weeks,
        "days": [
            {"date": day.item(), **_day_values(result, summary.place, row, names)}
            for row, day in enumerate(result.days)
        ],
    }


def _show_season(result: Hindcast, summary: _Summary, units: UnitSystem) -> None:
    totals = summary.totals
    out.print()
    out.print(
        Text(
            f"{result.block_ids[summary.place]}, {result.days[0]} to {result.days[-1]}",
            style="bold",
        )
    )
    table = plain_table(
        "Week from", "Days", "Ref. ET", "Crop used", "Rain", "Gross water", "",
        right=(1, 2, 3, 4, 5),
    )  # fmt: skip
    for week in summary.weeks:
        table.add_row(
            str(week["first_day"]),
            str(week["day_count"]),
            *(
                shown.depth(float(str(week[name])), units)
                for name in ("et0_mm", "actual_crop_et_mm", "rain_mm", "gross_mm")
            ),
            "peak" if week is summary.peak_week and week["gross_mm"] else "",
        )
    table.add_row(
        "Season",
        str(result.days.size),
        *(
            shown.depth(totals[name], units)
            for name in ("et0_mm", "actual_crop_et_mm", "rain_mm", "gross_mm")
        ),
        "",
        style="bold",
    )
    out.print(table)
    paragraph(
        f"{totals['watered_day_count']:.0f} days watered; rain that entered "
        f"{shown.depth(totals['rain_entering_mm'], units)}; drained from irrigation "
        f"{shown.depth(totals['irrigation_drainage_mm'], units)}; {_short(totals, units)}."
    )
    if totals["alley_et_mm"] > 0.0:
        paragraph(
            f"{shown.depth(totals['alley_et_mm'], units)} of the crop's use came from rain stored"
            " outside the wet strip."
        )


def _short(totals: Mapping[str, float], units: UnitSystem) -> str:
    """What a season lacked. A shortfall stands from day to day, so that its days do not add up."""
    lost = f"dry soil cost the crop {shown.depth(totals['lost_crop_et_mm'], units)} of its use"
    if not totals["short_day_count"]:
        return f"no day was short of water, {lost}"
    days = shown.count(int(totals["short_day_count"]), "day")
    most = shown.depth(totals["largest_shortfall_mm"], units)
    return f"{days} short of water, by {most} at most; {lost}"


LEDGER_FIELDS = (
    "rain_entering_mm",
    "rain_drainage_mm",
    "early_net_mm",
    "day_net_mm",
    "stress_ratio",
    "actual_crop_et_mm",
    "irrigation_drainage_mm",
    "resize_mm",
    "depletion_start_mm",
    "depletion_end_mm",
)


def _ledger_columns(result: Hindcast) -> dict[str, Floats]:
    """Columns of the daily ledger, arrays (days, blocks), in the order in which they are shown."""
    season = result.season
    return {
        "et0_mm": result.et0_mm,
        "rain_mm": result.rain_mm,
        "crop_coefficient": season.crop.crop_coefficient,
        "crop_et_mm": season.crop.crop_et_mm,
        "taw_mm": season.crop.taw_mm,
        "raw_mm": season.crop.raw_mm,
        **{name: getattr(season.ledger, name) for name in LEDGER_FIELDS},
        "need_mm": season.need_mm,
        "planned_min": season.planned_min.astype(np.float64),
        "gross_mm": season.gross_mm,
        "shortfall_mm": season.shortfall_mm,
        **{name: getattr(season.crop, name) for name in ALLEY_NUMBERS},
    }


def _day_values(
    result: Hindcast, place: int, row: int, columns: Mapping[str, Floats]
) -> dict[str, float]:
    return {name: round(float(values[row, place]), 4) for name, values in columns.items()}


def _ledger_rows(result: Hindcast, place: int) -> Iterable[list[object]]:
    columns = _ledger_columns(result)
    for row, day in enumerate(result.days):
        yield [
            result.block_ids[place],
            day,
            *(number_text(values[row, place], 4) for values in columns.values()),
        ]
