"""Commands for a grower's own measurements: weather station files and rain gauge readings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from service.agronomy.station_day import FEWEST_HOURS
from service.cli import shown
from service.cli.evening import outcome_document, outcome_text
from service.cli.plans import farms_by_id
from service.cli.terminal import (
    JsonOption,
    UnitSystem,
    note,
    open_service,
    out,
    parse_start,
    print_json,
)
from service.errors import Fault, InputInvalid
from service.farm_files.quantities import Measure, is_in_inches, read_quantity
from service.farm_files.station_file import LineFlag, StationFile, read_station_file
from service.operations.reading.read_farms import get_site
from service.operations.weather.import_station_file import (
    StationImport,
    find_station_setup,
    import_station_file,
    merge_setup,
)
from service.operations.weather.rain_amounts import LARGEST_RAIN_MM, faults_in_inches
from service.operations.weather.record_rain import GaugeReport, RecordedRain
from service.operations.weather.record_rain import record_rain as store_rain
from service.records.weather import StationSetup

MOST_SHOWN = 20
RAIN = Measure(
    noun="an amount of rain",
    unit="mm",
    lowest=0.0,
    highest=LARGEST_RAIN_MM,
    examples=("'0.35 in'", "'8.9 mm'"),
)
WITHOUT_AMOUNT = ("trace", "none")


class Stamp(StrEnum):
    """Whether a timestamp marks the start or the end of its interval."""

    START = "start"
    END = "end"


class Radiation(StrEnum):
    """How a station gives radiation."""

    MEAN = "w-m2"
    TOTAL = "mj-m2"


class GaugeKind(StrEnum):
    """What a reading says."""

    MEASURED = "measured"
    TRACE = "trace"
    NONE = "none"
    MULTI_DAY = "multi-day"


def station_import(
    site: Annotated[str, typer.Argument(help="Id of the station's site.")],
    station_file: Annotated[
        Path, typer.Argument(help="Our template, or a logger's table with four header lines.")
    ],
    clock_offset: Annotated[
        str | None,
        typer.Option(metavar="+HH:MM", help="Fixed UTC offset of the logger's clock."),
    ] = None,
    zone: Annotated[
        str | None,
        typer.Option(help=("Time zone of the logger's clock, including daylight saving time.")),
    ] = None,
    stamp: Annotated[
        Stamp | None,
        typer.Option(help=("Whether a timestamp marks the start or the end of its interval.")),
    ] = None,
    wind_height: Annotated[
        float | None, typer.Option(help="Height of the anemometer above ground, meters.")
    ] = None,
    radiation: Annotated[
        Radiation | None, typer.Option(help="Radiation as a mean in W/m2 or a total in MJ/m2.")
    ] = None,
    columns: Annotated[
        list[str] | None,
        typer.Option(
            "--column",
            metavar="NAME=OURS",
            help="Meaning of a logger's column, such as AirT_Avg=temperature_f; NAME=- ignores "
            "it. May be repeated.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Import a file from the grower's own station: all of it, or nothing and a list of faults.

    The options are stored for the site and need not be repeated.
    """
    given = StationSetup(
        clock=_clock(clock_offset, zone),
        stamp=stamp.value if stamp else None,
        wind_height_m=wind_height,
        radiation=radiation.value if radiation else None,
        columns=_columns(columns or []),
    )
    service = open_service()
    remembered = find_station_setup(site, unit_of_work=service.unit_of_work)
    content = read_station_file(
        station_file,
        setup=merge_setup(given, remembered),
        zone=get_site(site, unit_of_work=service.unit_of_work).zone,
        now=service.clock.now(),
    )
    result = import_station_file(
        site,
        content.intervals,
        sha256=content.sha256,
        setup=content.setup,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if as_json:
        print_json(_import_document(content, result))
        return
    days = "no whole day yet"
    if result.first_day is not None:
        days = f"days {result.first_day} to {result.last_day}: {outcome_text(result.outcome)}"
    out.print(f"{site}: {len(content.intervals):,} intervals of {content.step_min:g} min; {days}")
    worded = [(day, words) for day, facts in result.notes.items() if (words := _day_words(facts))]
    for day, words in worded[:MOST_SHOWN]:
        note(f"note: {day}: {words}")
    if len(worded) > MOST_SHOWN:
        note(f"note: {len(worded) - MOST_SHOWN:,} more days with notes; --json lists all")
    for text in content.notes:
        note(f"note: {text}")
    _show_flags(content.flags)


def _clock(offset: str | None, zone: str | None) -> str | None:
    if offset and zone:
        raise InputInvalid(
            "two clocks for one logger",
            [Fault("--clock-offset and --zone", f"{offset} and {zone}", "one of the two")],
        )
    return offset or zone


def _columns(texts: list[str]) -> dict[str, str]:
    columns = {}
    for text in texts:
        label, equals, name = text.rpartition("=")
        if not equals or not label:
            raise InputInvalid(
                "a column that cannot be used",
                [Fault("--column", text, "NAME=OURS, such as AirT_Avg=temperature_f")],
            )
        columns[label.strip()] = name.strip()
    return columns


def _day_words(fields: Mapping[str, Mapping[str, object]]) -> str:
    """Notes on a day, field by field; empty for a complete day."""
    words = []
    for name, facts in fields.items():
        parts = [
            f"{facts['hours_present']} h" if _is_short(facts) else "",
            "partial" if facts.get("partial") else "",
            f"{facts['bridged_h']} h bridged" if "bridged_h" in facts else "",
            "sensor stuck" if facts.get("stuck") else "",
        ]
        if text := " ".join(part for part in parts if part):
            words.append(f"{name} {text}")
    return ", ".join(words)


def _is_short(facts: Mapping[str, object]) -> bool:
    hours = facts.get("hours_present")
    return bool(facts.get("partial")) or (isinstance(hours, int | float) and hours < FEWEST_HOURS)


def _show_flags(flags: tuple[LineFlag, ...]) -> None:
    if not flags:
        return
    counts = Counter(flag.word for flag in flags)
    note("flags: " + ", ".join(f"{count:,} {word}" for word, count in sorted(counts.items())))
    for flag in flags[:MOST_SHOWN]:
        lines = (
            f"line {flag.line}"
            if flag.line == flag.last_line
            else (f"lines {flag.line} to {flag.last_line}")
        )
        column = f" {flag.column}" if flag.column else ""
        note(f"  {lines}{column}: {flag.word}, {flag.text}")
    if len(flags) > MOST_SHOWN:
        note(f"  and {len(flags) - MOST_SHOWN:,} more; --json lists all")


def _import_document(content: StationFile, result: StationImport) -> dict[str, object]:
    setup = content.setup
    return {
        **outcome_document(result.outcome),
        "interval_count": len(content.intervals),
        "step_min": content.step_min,
        "first_day": result.first_day,
        "last_day": result.last_day,
        "first_changed_day": result.first_changed_day,
        "sha256": content.sha256,
        "columns": dict(content.columns),
        "setup": {
            "clock": setup.clock,
            "stamp": setup.stamp,
            "wind_height_m": setup.wind_height_m,
            "radiation": setup.radiation,
            "columns": dict(setup.columns),
        },
        "day_notes": {day.isoformat(): notes for day, notes in result.notes.items()},
        "flags": [
            {
                "line": flag.line,
                "last_line": flag.last_line,
                "column": flag.column,
                "flag": flag.word,
                "text": flag.text,
            }
            for flag in content.flags
        ],
        "notes": content.notes,
    }


_ReadAtOption = Annotated[
    datetime | None,
    typer.Option(
        parser=parse_start,
        metavar="YYYY-MM-DDTHH:MM",
        help="When it was read, on the site's clock; default: now.",
    ),
]
_CoversFromOption = Annotated[
    datetime | None,
    typer.Option(
        parser=parse_start,
        metavar="YYYY-MM-DDTHH:MM",
        help="When collection began; default: the last reading, or a day ago.",
    ),
]
_WhoseGaugeOption = Annotated[
    str | None,
    typer.Option(
        help="The farm whose gauge it is; default: the one farm at this site, or the site's own"
        " gauge where several farms or a county use the site."
    ),
]


def gauge(
    site: Annotated[str, typer.Argument(help="Id of the gauge's site.")],
    amount: Annotated[
        str, typer.Argument(help="Rain with its unit: '0.35 in', '8.9 mm'; 0, trace or none.")
    ],
    read_at: _ReadAtOption = None,
    covers_from: _CoversFromOption = None,
    kind: Annotated[
        GaugeKind | None, typer.Option(help="Default: measured, or as the amount implies.")
    ] = None,
    why: Annotated[
        str, typer.Option("--note", help="A note; needed to correct a stored reading.")
    ] = "",
    farm: _WhoseGaugeOption = None,
    reporter: Annotated[str, typer.Option("--by", help="Who read the gauge.")] = "command line",
    confirm: Annotated[
        bool, typer.Option("--confirm", help="Confirm an unlikely amount or time.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Record a rain gauge that was read by hand.

    The rain is booked to the day that most of the time since the last reading lies in: a gauge read
    at 07:00 counts for the day before. A longer period is spread over its days. A farm's gauge
    counts for its own blocks alone, the site's own for counties and for farms without a gauge.
    """
    word = amount.strip().lower()
    is_word = word in WITHOUT_AMOUNT
    reading_kind = kind or (GaugeKind(word) if is_word else GaugeKind.MEASURED)
    service = open_service()
    known = farms_by_id(service).get(farm or "")
    units = known.unit_system if known is not None else ""
    with faults_in_inches(is_in_inches(amount)):
        result = store_rain(
            GaugeReport(
                site_id=site,
                farm_id=farm,
                rain_mm=0.0
                if is_word or word == "0"
                else read_quantity(amount, RAIN, where="AMOUNT", unit_system=units),
                reporter=reporter,
                kind=reading_kind.value,
                read_at=read_at,
                covers_from=covers_from,
                note=why,
                confirm=confirm,
            ),
            source_order=service.source_order,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    if as_json:
        print_json(_gauge_document(result))
        return
    _show_reading(site, result, get_site(site, unit_of_work=service.unit_of_work).zone)


def _gauge_document(result: RecordedRain) -> dict[str, object]:
    reading = result.reading
    return {
        **outcome_document(result.outcome),
        "farm_id": reading.farm_id,
        "read_at": reading.read_at,
        "covers_from": reading.covers_from,
        "rain_mm": round(reading.rain_mm, 4),
        "kind": reading.kind,
        "note": reading.note,
        "rule": result.rule,
        "booked": [
            {
                "day": each.day,
                "covered_h": round(each.covered_h, 2),
                "rain_mm": round(each.rain_mm, 4),
                "day_total_mm": round(each.day_total_mm, 4),
            }
            for each in result.booked
        ],
        "first_changed_day": result.first_changed_day,
    }


def _show_reading(site: str, result: RecordedRain, zone: str) -> None:
    reading = result.reading
    begins, ends = (
        f"{at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}"
        for at in (reading.covers_from, reading.read_at)
    )
    whose = "the site's own gauge" if reading.farm_id is None else f"the gauge of {reading.farm_id}"
    out.print(
        f"{site}, {whose}: {outcome_text(result.outcome)}\n"
        f"  from {begins} to {ends}: {_rain(reading.rain_mm)}, {reading.kind}"
    )
    out.print(f"Booked {result.rule}:")
    for each in result.booked:
        out.print(
            f"  {each.day}  {_rain(each.rain_mm)}, {each.covered_h:g} h of it; day"
            f" {_rain(each.day_total_mm)} in all"
        )
    if result.first_changed_day is not None:
        out.print("The next `rillwright run-day` counts it.")


def _rain(rain_mm: float) -> str:
    in_mm, in_inches = (shown.depth(rain_mm, units) for units in (UnitSystem.SI, UnitSystem.US))
    return f"{in_mm} ({in_inches})"
