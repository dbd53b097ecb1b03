"""Files of growers' stations: all of them invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import WeatherInvalid
from service.farm_files.station_columns import recognise
from service.farm_files.station_file import StationFile, parse_station, read_station_file
from service.records.weather import StationSetup

ZONE = "America/Chicago"
NOW = datetime(2026, 12, 1, tzinfo=UTC)
SETUP = StationSetup(clock="-06:00", stamp="end", wind_height_m=3.0, radiation="mj-m2")
LOGGER = """\
"TABLE","SYNTH","x","1","x","x","1","Daily"
"TIMESTAMP","RECORD","AirT_C_Max","AirT_C_Min","RH_Max","RH_Min","WS_ms_Avg","SlrMJ_Tot","Rain_mm_Tot"
"TS","RN","Deg C","Deg C","%","%","m/s","MJ/m^2","mm"
"","","Max","Min","Max","Min","Avg","Tot","Tot"
"2026-07-07 00:00:00",101,33.1,21.2,98.5,47.0,1.8,23.4,0
"2026-07-08 00:00:00",102,34.0,"NAN",97.9,44.1,2.0,-7999,3.2
"""


def parse(
    text: str, setup: StationSetup = SETUP, *, zone: str = ZONE, now: datetime = NOW
) -> StationFile:
    return parse_station(text.encode(), name="own.csv", setup=setup, zone=zone, now=now)


def fault_texts(text: str, setup: StationSetup = SETUP, *, now: datetime = NOW) -> list[str]:
    with pytest.raises(WeatherInvalid) as raised:
        parse(text, setup, now=now)
    return [str(fault) for fault in raised.value.faults]


def table(*rows: str, header: str = "timestamp,temperature_c") -> str:
    return "\n".join([header, *rows]) + "\n"


def hourly(
    values: Sequence[object], *, header: str = "timestamp,temperature_c", first: str = "2026-07-06"
) -> str:
    """Rows stamped at the end of each hour."""
    begins = datetime.fromisoformat(first)
    stamps = (begins + timedelta(hours=place + 1) for place in range(len(values)))
    rows = (f"{stamp:%Y-%m-%d %H:%M},{value}" for stamp, value in zip(stamps, values, strict=True))
    return table(*rows, header=header)


def start_texts(file: StationFile) -> list[str]:
    starts = file.intervals.start_epoch_s.tolist()
    return [f"{datetime.fromtimestamp(at, UTC):%Y-%m-%d %H:%M}" for at in starts]


def words(file: StationFile) -> list[tuple[int, str]]:
    return [(flag.line, flag.word) for flag in file.flags]


# --- a logger's table ----------------------------------------------------------------------------


def test_a_day_stamped_at_its_end_is_the_day_before() -> None:
    file = parse(LOGGER)
    # 00:00 on the 7th of a clock six hours behind UTC ends what began at 06:00 UTC on the 6th.
    assert start_texts(file) == ["2026-07-06 06:00", "2026-07-07 06:00"]
    assert file.step_min == 1440
    assert file.intervals.fields["tmax_c"].tolist() == [33.1, 34.0]


def test_a_day_stamped_at_its_start_begins_there() -> None:
    file = parse(LOGGER, replace(SETUP, stamp="start"))
    assert start_texts(file) == ["2026-07-07 06:00", "2026-07-08 06:00"]


@pytest.mark.parametrize("above", ['"X","SYNTH"', "Invented station", "date"])
def test_a_logger_table_is_known_by_its_four_header_lines_and_by_no_maker(above: str) -> None:
    _, *lines = LOGGER.splitlines(keepends=True)
    other = parse("".join([f"{above}\n", *lines]))
    assert other.columns == parse(LOGGER).columns


def test_what_the_logger_calls_missing_is_missing_and_never_a_number() -> None:
    fields = parse(LOGGER).intervals.fields
    assert np.isnan(fields["tmin_c"][1])
    assert np.isnan(fields["rs_mj_m2"][1])
    assert fields["rain_mm"].tolist() == [0.0, 3.2]


def test_everything_a_file_cannot_say_is_asked_for_at_once() -> None:
    texts = "\n".join(fault_texts(LOGGER, StationSetup()))
    for option in ("--clock-offset", "--zone", "--stamp end", "--wind-height", "--radiation w-m2"):
        assert option in texts


def test_radiation_of_another_kind_than_configured_is_refused() -> None:
    (text,) = fault_texts(LOGGER, replace(SETUP, radiation="w-m2"))
    assert "SlrMJ_Tot" in text
    assert "--radiation mj-m2" in text


def test_of_two_radiation_columns_the_configured_kind_is_used() -> None:
    text = (
        LOGGER.replace('"SlrMJ_Tot"', '"SlrMJ_Tot","SlrW_Avg"')
        .replace('"MJ/m^2"', '"MJ/m^2","W/m^2"')
        .replace('"Avg","Tot"', '"Avg","Tot","Avg"')
        .replace("23.4", "23.4,200")
        .replace("-7999", "-7999,250")
    )
    by_total, by_mean = parse(text), parse(text, replace(SETUP, radiation="w-m2"))
    assert by_total.intervals.fields["rs_mj_m2"][0] == 23.4
    # 200 W/m2 over 86,400 s are 17.28 MJ/m2.
    assert by_mean.intervals.fields["rs_mj_m2"][0] == pytest.approx(17.28)


def test_a_unit_that_contradicts_the_name_is_asked_about() -> None:
    texts = fault_texts(LOGGER.replace('"Deg C","Deg C"', '"Deg F","Deg C"'))
    assert len(texts) == 1
    assert "AirT_C_Max" in texts[0]
    assert "--column AirT_C_Max=OURS" in texts[0]


def test_a_blank_unit_is_asked_about_and_the_answer_is_remembered_with_it() -> None:
    blank = LOGGER.replace('"Deg C","Deg C"', '"","Deg C"')
    assert "AirT_C_Max" in fault_texts(blank)[0]
    answered = parse(blank, replace(SETUP, columns={"AirT_C_Max": "tmax_c"}))
    assert parse(blank, answered.setup).intervals.fields["tmax_c"][0] == 33.1
    # Remembered for that unit alone: when the logger says degrees F one day, it is asked again.
    assert fault_texts(LOGGER.replace('"Deg C","Deg C"', '"Deg F","Deg C"'), answered.setup)


def test_a_column_can_be_left_aside() -> None:
    file = parse(LOGGER, replace(SETUP, columns={"WS_ms_Avg": "-"}, wind_height_m=None))
    assert np.isnan(file.intervals.fields["wind_m_s"]).all()
    assert file.notes == ("left aside: RECORD, WS_ms_Avg",)


@pytest.mark.parametrize(
    ("label", "unit", "way", "name"),
    [
        ("AirTC_Avg", "Deg C", "Avg", "temperature_c"),
        ("AirTF_Max", "Deg F", "Max", "tmax_f"),
        ("T_air_Min", "degF", "Min", "tmin_f"),
        ("RH", "%", "Smp", "rhmean_pct"),
        ("DewPt_Avg", "Deg C", "Avg", "tdew_c"),
        ("WS_ms_S_WVT", "meters/second", "WVc", "wind_m_s"),
        ("WS_mph_Avg", "miles/hour", "Avg", "wind_mph"),
        ("SlrkW_Avg", "kW/m^2", "Avg", "rs_kw_m2"),
        ("Rain_in_Tot", "inch", "Tot", "rain_in"),
        ("RainCount", "mm", "Smp", "rain_counter_mm"),
        ("WS_ms_Max", "m/s", "Max", None),  # a gust
        ("AirTC_TMx", "", "TMx", None),  # the time of the maximum
        ("PTemp_C_Avg", "Deg C", "Avg", None),  # of the logger's panel
        ("SoilT_C_Avg", "Deg C", "Avg", None),
        ("BattV_Min", "Volts", "Min", None),
    ],
)
def test_a_logger_column_is_known_by_name_unit_and_way(
    label: str, unit: str, way: str, name: str | None
) -> None:
    found = recognise(label, unit, way)
    assert found.name == name
    assert found.question == ""


@pytest.mark.parametrize(
    ("label", "unit", "way"),
    [
        ("AirT_Avg", "", "Avg"),
        ("AirTF_Avg", "Deg C", "Avg"),
        ("SlrMJ_Avg", "MJ/m^2", "Avg"),
        ("SlrW_Tot", "W/m^2", "Tot"),
        ("Rain_mm", "mm", "Smp"),
        ("WS_Avg", "knots", "Avg"),
    ],
)
def test_a_logger_column_that_could_be_two_things_is_asked_about(
    label: str, unit: str, way: str
) -> None:
    found = recognise(label, unit, way)
    assert found.name is None
    assert found.question


# --- units ---------------------------------------------------------------------------------------


def test_fahrenheit_under_a_celsius_heading_is_refused() -> None:
    # Nights below 55 °F do not hide it: what counts is the median of the days' maxima.
    values = [50.0 + 35.0 * np.sin(np.pi * (hour % 24) / 24.0) for hour in range(72)]
    (text,) = fault_texts(hourly(values))
    assert "degrees Fahrenheit" in text


def test_a_single_hot_reading_is_no_other_unit_but_a_value_out_of_range() -> None:
    file = parse(hourly([20.0, 21.0, 86.0, 22.0]))
    assert words(file) == [(4, "out-of-range")]
    assert np.isnan(file.intervals.fields["temperature_c"][2])


def test_units_of_the_heading_are_converted() -> None:
    header = "timestamp,temperature_f,wind_mph,rs_w_m2,rain_in"
    file = parse(
        hourly(["50,10,500,0.5", "68,0,-3,0"], header=header), replace(SETUP, radiation="w-m2")
    )
    fields = file.intervals.fields
    assert fields["temperature_c"].tolist() == pytest.approx([10.0, 20.0])
    assert fields["wind_m_s"][0] == pytest.approx(4.4704)
    # 500 W/m2 over 3600 s are 1.8 MJ/m2; a few W/m2 below nothing at night are nothing.
    assert fields["rs_mj_m2"].tolist() == pytest.approx([1.8, 0.0])
    assert fields["rain_mm"].tolist() == pytest.approx([12.7, 0.0])


# --- times ---------------------------------------------------------------------------------------


def test_the_step_is_that_of_the_file() -> None:
    rows = [
        f"2026-07-06 0{minute // 60}:{minute % 60:02d},20.{minute}" for minute in range(10, 70, 15)
    ]
    file = parse(table(*rows))
    assert file.step_min == 15
    assert np.diff(file.intervals.end_epoch_s).tolist() == [900, 900, 900]


def test_an_hour_that_comes_twice_comes_in_order() -> None:
    # Clocks in Chicago go back from 02:00 to 01:00 on 1 November 2026.
    stamps = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]
    file = parse(
        table(*(f"2026-11-01 {stamp},{place}" for place, stamp in enumerate(stamps))),
        replace(SETUP, clock=ZONE),
    )
    assert np.diff(file.intervals.end_epoch_s).tolist() == [1800] * 5
    assert file.flags == ()


def test_a_time_that_the_clock_skips_betrays_a_logger_without_summer_time() -> None:
    # Clocks in Chicago go from 02:00 to 03:00 on 8 March 2026.
    rows = [f"2026-03-08 0{hour}:00,{hour}" for hour in range(1, 5)]
    (text,) = fault_texts(table(*rows), replace(SETUP, clock=ZONE))
    assert "line 3" in text
    assert "--clock-offset" in text
    assert len(parse(table(*rows)).intervals) == 4


def test_midnight_may_be_the_end_of_a_day() -> None:
    file = parse(table("2026-07-06 23:00,20", "2026-07-06 24:00,19"))
    assert start_texts(file) == ["2026-07-07 04:00", "2026-07-07 05:00"]


def test_lines_out_of_order_and_lines_twice_are_flagged_and_used_once() -> None:
    rows = [
        "2026-07-06 02:00,18",
        "2026-07-06 01:00,19",
        "2026-07-06 02:00,18",
        "2026-07-06 03:00,17",
    ]
    file = parse(table(*rows))
    assert file.intervals.fields["temperature_c"].tolist() == [19.0, 18.0, 17.0]
    assert words(file) == [(3, "backwards"), (4, "repeated")]


def test_one_time_with_two_values_is_a_fault() -> None:
    (text,) = fault_texts(table("2026-07-06 01:00,19", "2026-07-06 02:00,18", "2026-07-06 02:00,8"))
    assert "line 4" in text
    assert "line 3 with another temperature_c" in text


def test_lines_of_the_future_are_flagged_and_not_used() -> None:
    now = datetime(2026, 7, 6, 8, 30, tzinfo=UTC)  # 02:30 on the logger's clock
    file = parse(hourly([20, 19, 18, 17]), now=now)
    assert words(file) == [(4, "future"), (5, "future")]
    assert file.intervals.fields["temperature_c"].tolist() == [20.0, 19.0]
    (text,) = fault_texts(hourly([20, 19], first="2027-07-06"), now=now)
    assert "only times in the future" in text


def test_a_line_off_the_beat_does_not_overlap_the_one_before() -> None:
    file = parse(
        table(
            *(f"2026-07-06 {at},1" for at in ("01:00", "02:00", "02:20", "03:00", "04:00", "05:00"))
        )
    )
    assert words(file) == [(4, "irregular"), (5, "irregular")]
    lengths = file.intervals.end_epoch_s - file.intervals.start_epoch_s
    assert lengths.tolist() == [3600, 3600, 1200, 2400, 3600, 3600]


def test_a_gap_is_noted() -> None:
    rows = ["2026-07-06 01:00,1", "2026-07-06 02:00,2", "2026-07-06 06:00,3"]
    assert parse(table(*rows)).notes == ("1 gap, 3.0 hours in all; the longest before line 4",)


def test_a_single_line_does_not_say_how_long_its_interval_is() -> None:
    assert "two lines or more" in fault_texts(table("2026-07-06 01:00,19"))[0]


def test_steps_that_are_neither_hours_nor_days_are_refused() -> None:
    assert "720 min apart" in fault_texts(table("2026-07-06 00:00,1", "2026-07-06 12:00,2"))[0]


# --- values over time ----------------------------------------------------------------------------


def test_a_sensor_stuck_for_half_a_day_is_flagged_but_used() -> None:
    file = parse(hourly([20.0, *[21.5] * 12, 22.0]))
    (flag,) = file.flags
    assert (flag.line, flag.last_line, flag.word) == (3, 14, "stuck")
    assert flag.text == "21.5 for 12 h"
    assert np.isfinite(file.intervals.fields["temperature_c"]).all()
    assert parse(hourly([20.0, *[21.5] * 11, 22.0])).flags == ()


def test_darkness_fog_and_dry_weather_may_last() -> None:
    header = "timestamp,rs_mj_m2,rhmean_pct,rain_mm"
    assert parse(hourly(["0,100,0"] * 14, header=header)).flags == ()


def test_a_rain_counter_is_read_by_its_steps() -> None:
    file = parse(hourly([10.0, 10.5, "", 12.5, 0.5], header="timestamp,rain_counter_mm"))
    rain_mm = file.intervals.fields["rain_mm"]
    assert np.isnan(rain_mm[[0, 2]]).all()
    # From 12.5 back to 0.5: the counter began again, so half a millimetre fell.
    assert rain_mm[[1, 3, 4]].tolist() == [0.5, 2.0, 0.5]
    assert words(file) == [(5, "after-gap"), (6, "rollover")]


# --- the file as a whole -------------------------------------------------------------------------


def test_every_bad_line_is_listed_and_nothing_is_taken() -> None:
    texts = fault_texts(
        table("2026-07-06 01:00,mild", "6.7.2026 2:00,19", "2026-07-06 03:00", "2026-07-06 04:00,1")
    )
    assert len(texts) == 1  # a line with the wrong number of cells comes first
    assert "line 4: found 1 cells" in texts[0]
    texts = fault_texts(
        table(
            "2026-07-06 01:00,mild", "6.7.2026 2:00,19", "2026-07-06 03:00,x", "2026-07-06 04:00,1"
        )
    )
    assert [text.split(":")[1].split(",")[0].strip() for text in texts] == [
        "line 2",
        "line 3",
        "line 4",
    ]


def test_an_unknown_column_of_our_template_is_refused_with_its_likely_name() -> None:
    texts = fault_texts(hourly([20], header="timestamp,temprature_c"))
    assert "did you mean 'temperature_c'" in texts[0]


@pytest.mark.parametrize(
    ("setup", "found"),
    [
        (replace(SETUP, clock="Mississippi"), "Mississippi"),
        (replace(SETUP, clock="-25:00"), "-25:00"),
        (replace(SETUP, stamp="middle"), "middle"),
        (replace(SETUP, wind_height_m=0.1), "0.1 m"),
        (replace(SETUP, columns={"AirT": "air_temperature"}), "air_temperature"),
    ],
)
def test_an_impossible_setup_is_refused(setup: StationSetup, found: str) -> None:
    assert found in fault_texts(LOGGER, setup)[0]


def test_semicolons_allow_decimal_commas() -> None:
    text = "timestamp;temperature_c\n2026-07-06 01:00;19,5\n2026-07-06 02:00;18,5\n"
    assert parse(text).intervals.fields["temperature_c"].tolist() == [19.5, 18.5]


def test_more_than_100000_lines_are_refused() -> None:
    assert "100,0" in fault_texts("timestamp,temperature_c\n" + "\n" * 100_010)[0]


def test_a_file_that_is_not_there_is_an_error_with_its_name(tmp_path: Path) -> None:
    with pytest.raises(WeatherInvalid, match=r"gone\.dat cannot be read"):
        read_station_file(tmp_path / "gone.dat", setup=SETUP, zone=ZONE, now=NOW)


@given(
    lines=st.lists(
        st.lists(
            st.sampled_from(
                ["2026-07-06 01:00", "2026-07-06 02:00", "2026-11-01 01:30", "2026-03-08 02:30",
                 "20", "-7999", "NAN", "", "1e9", "TIMESTAMP", "AirT_C_Avg", "Deg C", "date", '"']
            ),
            min_size=1,
            max_size=3,
        ),
        max_size=6,
    ),
    is_logger=st.booleans(),
    clock=st.sampled_from(["-06:00", ZONE, None]),
)  # fmt: skip
def test_whatever_comes_is_read_or_refused_with_faults(
    lines: list[list[str]], is_logger: bool, clock: str | None
) -> None:
    first = ['"TABLE","X"', '"TIMESTAMP","AirT"'] if is_logger else ["timestamp,temperature_c"]
    text = "\n".join([*first, *(",".join(line) for line in lines)])
    try:
        file = parse(text, replace(SETUP, clock=clock))
    except WeatherInvalid as refusal:
        assert refusal.faults
    else:
        lengths = file.intervals.end_epoch_s - file.intervals.start_epoch_s
        assert (lengths > 0).all()
        assert (file.intervals.start_epoch_s[1:] >= file.intervals.end_epoch_s[:-1]).all()


# --- our daily template --------------------------------------------------------------------------

DAILY = "date,tmax_c,tmin_c,wind_m_s,rs_mj_m2,rain_mm\n2026-07-06,33.1,21.2,1.8,23.4,0\n"


def test_the_daily_template_names_civil_days_of_the_site() -> None:
    file = parse(DAILY, replace(SETUP, clock=None, stamp=None))
    assert start_texts(file) == ["2026-07-06 05:00"]  # midnight of Chicago's summer time
    assert file.intervals.fields["rain_mm"].tolist() == [0.0]


def test_the_daily_template_too_needs_height_and_kind() -> None:
    assert len(fault_texts(DAILY, StationSetup())) == 2
    assert "--radiation mj-m2" in fault_texts(DAILY, replace(SETUP, radiation="w-m2"))[0]


def test_a_day_that_is_not_over_is_not_used() -> None:
    text = DAILY + "2026-07-07,30,20,2,20,0\n"
    file = parse(text, now=datetime(2026, 7, 7, 20, tzinfo=UTC))
    assert len(file.intervals) == 1
    assert file.notes == ("1 day not over yet; not used",)
