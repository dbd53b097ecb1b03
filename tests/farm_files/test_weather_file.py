"""Weather files: units by column name, whole or not at all, and every bad line by number."""

from __future__ import annotations

import hashlib
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import WeatherInvalid
from service.farm_files.weather_file import WeatherFile, parse_weather, read_weather_file
from service.records.weather import WEATHER_FIELDS


def parse(text: str) -> WeatherFile:
    return parse_weather(text.encode(), name="station.csv")


def faults_of(content: str | bytes) -> list[tuple[str, str, str]]:
    with pytest.raises(WeatherInvalid) as caught:
        parse_weather(
            content if isinstance(content, bytes) else content.encode(), name="station.csv"
        )
    return [(fault.where, fault.found, fault.allowed) for fault in caught.value.faults]


def only_fault_of(content: str | bytes) -> tuple[str, str, str]:
    (fault,) = faults_of(content)
    return fault


def test_a_plain_file_gives_days_and_fields_in_si() -> None:
    weather = parse(
        "date,tmax_c,tmin_c,rhmax_pct,rhmin_pct,wind_m_s,rs_mj_m2,rain_mm\n"
        "2026-07-06,33.1,21.2,98.5,47,1.8,23.4,0\n"
        "2026-07-07,34.0,22.0,97.9,44.1,2.0,,3.2\n"
    )
    assert weather.days.tolist() == [date(2026, 7, 6), date(2026, 7, 7)]
    assert set(weather.fields) == set(WEATHER_FIELDS)
    assert weather.fields["tmax_c"].tolist() == [33.1, 34.0]
    assert weather.fields["rain_mm"].tolist() == [0.0, 3.2]
    assert np.isnan(weather.fields["rs_mj_m2"]).tolist() == [False, True]
    assert np.isnan(weather.fields["sunshine_h"]).all()
    assert weather.columns_found[:2] == ("tmax_c", "tmin_c")
    assert weather.notes == ()


def test_every_unit_of_a_column_name_is_converted() -> None:
    weather = parse(
        "date,tmax_f,tmin_f,tdew_f,wind_mph,rs_w_m2,rain_in,rain_probability_pct\n"
        "2026-07-06,95,68,59,10,250,1,40\n"
    )
    one = {name: float(values[0]) for name, values in weather.fields.items()}
    # Definitions: 25.4 mm to the inch, 0.44704 m/s to the mile an hour, 86,400 s to the day.
    assert one["tmax_c"] == pytest.approx(35.0)
    assert one["tmin_c"] == pytest.approx(20.0)
    assert one["tdew_c"] == pytest.approx(15.0)
    assert one["wind_m_s"] == pytest.approx(4.4704)
    assert one["rs_mj_m2"] == pytest.approx(21.6)
    assert one["rain_mm"] == pytest.approx(25.4)
    assert one["rain_probability_fraction"] == pytest.approx(0.4)


def test_wind_run_and_langleys_are_converted() -> None:
    weather = parse("date,wind_km_d,rs_langley\n2026-07-06,172.8,500\n")
    # FAO-56 Annex 1: 1 km/day = 0.01157 m/s; 1 cal/cm2 = 4.184e-2 MJ/m2 (thermochemical).
    assert weather.fields["wind_m_s"][0] == pytest.approx(2.0)
    assert weather.fields["rs_mj_m2"][0] == pytest.approx(20.92)


def test_a_file_of_rain_alone_is_enough() -> None:
    weather = parse("date,rain_mm\n2026-07-06,12.5\n")
    assert weather.columns_found == ("rain_mm",)
    assert weather.fields["rain_mm"].tolist() == [12.5]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_commas_semicolons_and_tabs_all_separate(delimiter: str, newline: str) -> None:
    lines = [delimiter.join(row) for row in (["date", "rain_mm"], ["2026-07-06", "2.5"])]
    assert parse(newline.join(lines)).fields["rain_mm"].tolist() == [2.5]


def test_a_decimal_comma_counts_only_between_semicolons() -> None:
    assert parse("date;rain_mm\n2026-07-06;2,5\n").fields["rain_mm"].tolist() == [2.5]
    where, found, allowed = only_fault_of("date\train_mm\n2026-07-06\t2,5\n")
    assert (where, found) == ("station.csv: line 2, column rain_mm", "'2,5'")
    assert "a decimal point" in allowed
    assert only_fault_of("date;rain_mm\n2026-07-06;1.002,5\n")[1] == "'1.002,5'"


@pytest.mark.parametrize(
    "token",
    [
        *("", " ", "NA", "N/A", "NaN", "nan", "NAN", "M", "-", "--", "NO RECORD", "no record"),
        *("No Data", "no_data", "---", "null", "#N/A", "missing"),
        *("-99", "-999", "-6999", "-7999", "-9999", "-999.0", "-99.00"),
    ],
)
def test_missing_tokens_become_not_known(token: str) -> None:
    weather = parse(f"date,tmax_c,rain_mm\n2026-07-06,30,{token}\n2026-07-07,31,1\n")
    assert np.isnan(weather.fields["rain_mm"]).tolist() == [True, False]


def test_comments_blank_lines_quotes_and_a_byte_order_mark_are_let_pass() -> None:
    text = '# invented, "not" measured\n\n"date","Rain_mm"\n"2026-07-06","1.5"\n\n,\n'
    weather = parse_weather(b"\xef\xbb\xbf" + text.encode(), name="station.csv")
    assert weather.fields["rain_mm"].tolist() == [1.5]


def test_windows_text_is_read_and_noted() -> None:
    content = "# Höhe 250 m\ndate,rain_mm\n2026-07-06,1\n".encode("cp1252")
    weather = parse_weather(content, name="station.csv")
    assert weather.notes == ("read as Windows-1252, as it is not UTF-8",)


def test_the_hash_is_that_of_the_bytes(tmp_path: Path) -> None:
    content = b"date,rain_mm\r\n2026-07-06,1\r\n"
    path = tmp_path / "rain.csv"
    path.write_bytes(content)
    assert read_weather_file(path).sha256 == hashlib.sha256(content).hexdigest()


# --- files that are refused as a whole -----------------------------------------------------------


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(WeatherInvalid, match=r"gone\.csv.*No such file"):
        read_weather_file(tmp_path / "gone.csv")


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "an empty file"),
        (b"# only a comment\n", "an empty file"),
        ("date,rain_mm\n2026-07-06,1\n".encode("utf-16"), "text in UTF-16"),
        (b"PK\x03\x04\x00\x00date,rain_mm\n", "binary content"),
        (b"date,rain_mm\n2026-07-06,\x81\n", "byte 0x81"),
        (b"date,rain_mm\n" + b"#" * 5_000_000, "more than 5,000,000 bytes"),
        (b"date,rain_mm\n" + b"\n" * 100_001, "100,002 lines"),
        (b"date,rain_mm\n", "no line with weather"),
        (b"date\n2026-07-06\n", "'date'"),
        (b"rain_mm,tmax_c\n1,30\n", "columns rain_mm, tmax_c"),
        (b"date,\n2026-07-06,\n", "column 2 without a name"),
        (b"date," * 65 + b"rain_mm\n" + b"1," * 65 + b"1\n", "66 columns"),
        (b'date,rain_mm\n2026-07-06,"1\n', "unexpected end of data"),
        (b'"TABLE","SYNTH"\n"TIMESTAMP","AirT"\n', "a logger's table with four header lines"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_files_that_are_no_weather_tables_are_refused_with_the_reason(
    content: bytes, found: str
) -> None:
    faults = faults_of(content)
    assert any(found in fault[1] for fault in faults), faults
    assert all(fault[0].startswith("station.csv") and fault[2] for fault in faults)


def test_an_unknown_column_is_refused_with_the_names_that_are_allowed() -> None:
    where, found, allowed = only_fault_of("date,tmax,rain_mm\n2026-07-06,30,1\n")
    assert (where, found) == ("station.csv", "'tmax'")
    assert "did you mean 'tmax_" in allowed
    assert "rain_in" in allowed


@pytest.mark.parametrize("pair", [("tmax_c", "tmax_f"), ("rs_mj_m2", "rs_w_m2"), ("rain_mm",) * 2])
def test_two_columns_for_one_quantity_are_refused(pair: tuple[str, str]) -> None:
    where, found, _ = only_fault_of(f"date,{','.join(pair)}\n2026-07-06,20,20\n")
    assert where == f"station.csv: column {pair[1]}"
    assert found == f"{pair[0]} and {pair[1]}"


# --- lines that are refused ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "cell",
    ["07/06/2026", "2026-02-30", "2026-7-6", "20260706", "2026-07-06 00:00", "", "0026-07-06"],
)
def test_dates_in_any_other_form_are_refused(cell: str) -> None:
    where, found, allowed = only_fault_of(f"date,rain_mm\n{cell},1\n")
    assert (where, found) == ("station.csv: line 2, column date", repr(cell))
    assert "YYYY-MM-DD" in allowed


@pytest.mark.parametrize(
    ("column", "cell", "allowed"),
    [
        ("tmax_c", "61", "-60 to 60"),
        ("tmax_f", "141", "-76 to 140"),
        ("tmin_c", "-61", "-60 to 60"),
        ("rhmax_pct", "106", "0 to 105"),
        ("wind_m_s", "-1", "0 to 60"),
        ("rs_mj_m2", "51", "0 to 50"),
        ("rain_mm", "1001", "0 to 1000"),
        ("sunshine_h", "25", "0 to 24"),
        ("rain_probability_pct", "101", "0 to 100"),
    ],
)
def test_an_impossible_number_costs_its_day_alone_until_there_are_many(
    column: str, cell: str, allowed: str
) -> None:
    good = "".join(f"2026-06-{day:02d},10\n" for day in range(1, 11))
    bad = "".join(f"2026-07-{day:02d},{cell}\n" for day in range(1, 5))
    one = parse(f"date,{column}\n{good}{bad.splitlines()[0]}\n")
    (values,) = (each for each in one.fields.values() if np.isfinite(each).any())
    assert np.isnan(values).tolist() == [False] * 10 + [True]
    assert any(
        note.startswith(f"line 12, {column}: {cell!r} not used") and allowed in note
        for note in one.notes
    )
    assert faults_of(f"date,{column}\n{good}{bad}")[0][:2] == (
        f"station.csv: line 12, column {column}",
        repr(cell),
    )


def test_up_to_a_twentieth_of_a_column_may_be_impossible() -> None:
    first = date(2026, 1, 1)
    rows = [f"{first + timedelta(days=day)},{10 + day % 7}" for day in range(200)]
    for bad in range(10):
        rows[bad * 20] = rows[bad * 20].split(",")[0] + ",99"
    assert np.isnan(parse("date,tmin_c\n" + "\n".join(rows)).fields["tmin_c"]).sum() == 10
    rows[1] = rows[1].split(",")[0] + ",99"
    assert len(faults_of("date,tmin_c\n" + "\n".join(rows))) == 11


def test_a_number_that_stands_for_no_value_is_named() -> None:
    weather = parse("date,rain_mm\n2026-07-06,-999\n2026-07-07,-999\n2026-07-08,1\n")
    assert "rain_mm: -999 was read as a missing value, 2 times" in weather.notes


@pytest.mark.parametrize(
    ("column", "cell", "allowed"),
    [
        ("rain_mm", "T", "write a trace as 0"),
        ("rain_mm", "1_0", "0 to 1000"),
        ("rain_mm", "inf", "0 to 1000"),
    ],
)
def test_a_cell_that_is_no_number_is_named_with_line_column_and_range(
    column: str, cell: str, allowed: str
) -> None:
    good = "\n".join(f"2026-06-{day:02d},10" for day in range(1, 11))
    fault = only_fault_of(f"date,{column}\n{good}\n2026-07-01,{cell}\n")
    assert fault[:2] == (f"station.csv: line 12, column {column}", repr(cell))
    assert allowed in fault[2]


@pytest.mark.parametrize(
    ("column", "values", "likeness"),
    [
        ("tmax_c", (88, 91, 79), "Fahrenheit"),
        ("tmax_f", (300, 305, 299), "kelvin"),
        ("rs_mj_m2", (250, 300, 90), "W/m2"),
        ("ea_kpa", (18, 20, 22), "hectopascals"),
        ("wind_m_s", (120, 180, 260), "wind_km_d"),
        ("sunshine_h", (600, 700, 100), "minutes"),
    ],
)
def test_a_column_in_another_unit_is_recognized_and_reported_once(
    column: str, values: tuple[int, ...], likeness: str
) -> None:
    rows = "".join(f"2026-07-{day:02d},{value}\n" for day, value in enumerate(values, 1))
    where, found, allowed = only_fault_of(f"date,{column}\n{rows}")
    assert where == f"station.csv: column {column}"
    assert found.startswith("values around")
    assert likeness in allowed


def test_a_minimum_above_the_maximum_costs_both_of_its_day_until_there_are_many() -> None:
    head = "date,tmax_c,tmin_f\n2026-07-05,30,50\n"
    weather = parse(head + "2026-07-06,20,77\n")
    for name in ("tmax_c", "tmin_c"):
        assert np.isnan(weather.fields[name]).tolist() == [False, True]
    assert "line 3: tmax_c 20 with tmin_f 77 not used, since they contradict" in weather.notes
    many = "".join(f"2026-07-{day:02d},20,77\n" for day in range(6, 10))
    where, found, _ = faults_of(head + many)[0]
    assert where == "station.csv: line 3, column tmax_c"
    assert found == "tmax_c 20 with tmin_f 77"


def test_a_line_with_too_few_cells_is_a_fault_of_its_line() -> None:
    where, found, allowed = only_fault_of("date,tmax_c,rain_mm\n2026-07-05,30,1\n2026-07-06,31\n")
    assert (where, found) == ("station.csv: line 3", "2 cells")
    assert "3 cells" in allowed


def test_all_bad_lines_are_counted_and_the_first_fifty_listed_in_order() -> None:
    rows = "".join(
        f"{date(2026, 1, 1) + timedelta(days=day)},bad,{2000 + day}\n" for day in range(60)
    )
    with pytest.raises(WeatherInvalid) as caught:
        parse("date,tmax_c,rain_mm\n" + rows + "2026-07-01,20,1\n")
    assert "120 faults, of which the first 50 are listed" in caught.value.message
    assert len(caught.value.faults) == 50
    lines = [int(fault.where.split("line ")[1].split(",")[0]) for fault in caught.value.faults]
    assert lines == sorted(lines)


# --- order, repeats and gaps ---------------------------------------------------------------------


def test_a_day_given_twice_with_other_values_names_both_lines() -> None:
    where, found, _ = only_fault_of(
        "date,tmax_c,rain_mm\n2026-07-05,30,1\n2026-07-06,31,1\n2026-07-05,30,2\n"
    )
    assert where == "station.csv: line 4, column date"
    assert found == "2026-07-05, also in line 2 with another rain_mm"


def test_a_day_given_twice_alike_is_kept_once_and_noted() -> None:
    weather = parse("date,rain_mm\n2026-07-05,NA\n2026-07-05,\n")
    assert weather.days.size == 1
    assert weather.notes == ("column rain_mm has no value", "1 repeated line with equal values")


def test_unsorted_days_are_sorted_and_noted() -> None:
    weather = parse("date,rain_mm\n2026-07-06,2\n2026-07-05,1\n")
    assert weather.fields["rain_mm"].tolist() == [1.0, 2.0]
    assert weather.notes == ("the lines were not in order of days; they were sorted",)


def test_gaps_are_noted_span_by_span() -> None:
    days = ("2026-07-01", "2026-07-03", "2026-07-08")
    weather = parse("date,rain_mm\n" + "".join(f"{day},0\n" for day in days))
    assert weather.notes == ("5 days missing: 2026-07-02, 2026-07-04 to 2026-07-07",)


@given(
    order=st.permutations(range(12)),
    rain=st.lists(st.floats(0, 999).map(lambda x: round(x, 2)), min_size=12, max_size=12),
)
def test_the_order_of_lines_is_irrelevant(order: list[int], rain: list[float]) -> None:
    first = date(2026, 2, 23)
    rows = [f"{first + timedelta(days=day)},{rain[day]}" for day in order]
    weather = parse("date,rain_mm\n" + "\n".join(rows))
    assert weather.fields["rain_mm"].tolist() == rain
    assert weather.days[0] == np.datetime64(first)


@given(st.binary(max_size=300))
def test_any_bytes_either_parse_or_are_refused_by_name(content: bytes) -> None:
    try:
        weather = parse_weather(b"date,rain_mm\n" + content, name="station.csv")
    except WeatherInvalid as error:
        assert error.faults
        assert all(fault.where.startswith("station.csv") for fault in error.faults)
    else:
        assert weather.days.size


def test_a_file_at_the_limit_of_lines_is_read() -> None:
    first = np.datetime64("1900-01-01")
    lines = [
        f"{day},{n % 400 / 10:.1f},{n % 97 / 10 - 15:.1f},{n % 173 / 10:.1f},{n % 50:.0f}"
        for n, day in enumerate(first + np.arange(99_999))
    ]
    content = "\n".join(["date,tmax_c,tdew_c,wind_m_s,rain_mm", *lines]).encode()
    assert parse_weather(content, name="long.csv").days.size == 99_999
