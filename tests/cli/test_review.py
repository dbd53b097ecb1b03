"""Reference ET and past seasons from the command line."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from service.demo_farm import FARM_FILE, weather_file
from tests.cli.conftest import Command, call, document

ALDERWAY = str(weather_file("demo-alderway"))
SPAN = ("--from", "2026-06-01", "--to", "2026-07-13")
PLACE = ("--latitude", "50.8", "--longitude", "4.35", "--elevation", "100", "--wind-height", "10")


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


# --- reference ET --------------------------------------------------------------------------------


@pytest.fixture
def uccle(tmp_path: Path) -> Path:
    """FAO-56 Ex. 18, Uccle on 6 July, followed by a day without its minimum."""
    path = tmp_path / "uccle.csv"
    # 10 km/h at 10 m height.
    path.write_text(
        "date,tmax_c,tmin_c,rhmax_pct,rhmin_pct,wind_m_s,sunshine_h\n"
        "2023-07-06,21.5,12.3,84,63,2.7778,9.25\n"
        "2023-07-07,21.5,,84,63,2.7778,9.25\n"
    )
    return path


def test_reference_et_of_the_worked_example(demo: Command, uccle: Path) -> None:
    first, second = rows(demo("et0", str(uccle), *PLACE, "--csv").stdout)
    assert list(first)[:3] == ["date", "et0_mm", "flags"]
    # FAO-56 Ex. 18 prints 3.88, rounded 3.9 mm/d.
    assert float(first["et0_mm"]) == pytest.approx(3.88, abs=0.005)
    assert first["flags"] == "rs_mj_m2:estimated-from-sunshine"
    assert second["et0_mm"] == ""
    assert "tmin_c:missing" in second["flags"].split(";")


def test_reference_et_as_json_has_null_for_a_day_without(demo: Command, uccle: Path) -> None:
    days = document(demo("et0", str(uccle), *PLACE, "--json"))["days"]
    assert days[0]["et0_mm"] == pytest.approx(3.88, abs=0.005)
    assert days[1]["et0_mm"] is None
    assert "tmin_c:missing" in days[1]["flags"]


def test_reference_et_is_shown_in_the_units_asked_for(demo: Command, uccle: Path) -> None:
    # 3.88 mm are 0.1528 in.
    assert "ET0, mm" in demo("et0", str(uccle), *PLACE).stdout
    shown = demo("et0", str(uccle), *PLACE, "--units", "us").stdout
    assert "ET0, in" in shown
    assert "0.153" in shown
    assert "mm" not in shown


def test_reference_et_of_a_file_in_us_columns_is_in_inches(demo: Command, tmp_path: Path) -> None:
    path = tmp_path / "us.csv"
    path.write_text("date,tmax_f,tmin_f,wind_mph\n2023-07-06,70.7,54.1,6.2\n")
    assert "ET0, in" in demo("et0", str(path), *PLACE).stdout


def test_reference_et_needs_no_database(uccle: Path, tmp_path: Path) -> None:
    path = tmp_path / "none.db"
    assert call(f"sqlite:///{path}", "et0", str(uccle), *PLACE).exit_code == 0
    assert not path.exists()


# --- a past season -------------------------------------------------------------------------------


def test_the_daily_ledger_closes_its_water_balance(demo: Command) -> None:
    result = demo("hindcast", "creek", "--weather", ALDERWAY, *SPAN, "--csv")
    days = rows(result.stdout)
    assert len(days) == 43
    assert list(days[0])[:3] == ["block_id", "date", "et0_mm"]
    for before, day in zip([None, *days], days, strict=False):
        number = {
            name: float(text) for name, text in day.items() if name not in {"block_id", "date"}
        }
        change = (
            number["actual_crop_et_mm"]
            - number["rain_entering_mm"]
            - number["early_net_mm"]
            - number["day_net_mm"]
            + number["rain_drainage_mm"]
            + number["irrigation_drainage_mm"]
            + number["resize_mm"]
        )
        # Each of the numbers is rounded to 4 decimals.
        assert number["depletion_end_mm"] - number["depletion_start_mm"] == pytest.approx(
            change, abs=6e-4
        )
        if before is not None:
            assert day["depletion_start_mm"] == before["depletion_end_mm"]


def test_weeks_add_up_to_the_season_and_the_peak_is_the_largest(demo: Command) -> None:
    season = document(demo("hindcast", "creek", "--weather", ALDERWAY, *SPAN, "--json"))[0]
    weeks = season["weeks"]
    assert [week["day_count"] for week in weeks] == [7, 7, 7, 7, 7, 7, 1]
    assert sum(week["gross_mm"] for week in weeks) == pytest.approx(
        season["totals"]["gross_mm"], abs=0.05
    )
    assert season["peak_week"]["gross_mm"] == max(week["gross_mm"] for week in weeks)
    assert season["totals"]["watered_day_count"] == sum(
        day["planned_min"] > 0 for day in season["days"]
    )


def test_a_shortfall_that_stands_is_not_added_up(demo: Command) -> None:
    season = document(demo("hindcast", "creek", "--weather", ALDERWAY, *SPAN, "--json"))[0]
    totals, days = season["totals"], season["days"]
    lost_mm = sum(day["crop_et_mm"] - day["actual_crop_et_mm"] for day in days)
    assert totals["lost_crop_et_mm"] == pytest.approx(lost_mm, abs=0.02)
    assert totals["largest_shortfall_mm"] == pytest.approx(
        max(day["shortfall_mm"] for day in days), abs=0.01
    )
    assert totals["short_day_count"] == sum(day["shortfall_mm"] > 0 for day in days)
    assert "shortfall_mm" not in totals
    assert sum(week["actual_crop_et_mm"] for week in season["weeks"]) == pytest.approx(
        totals["actual_crop_et_mm"], abs=0.05
    )


def test_a_stored_block_runs_as_in_its_farm_file(demo: Command) -> None:
    stored = document(demo("hindcast", "creek", "--weather", ALDERWAY, *SPAN, "--json"))
    of_file = document(demo("hindcast", str(FARM_FILE), "--weather", ALDERWAY, *SPAN, "--json"))
    assert [season["block_id"] for season in stored] == ["larkbend.creek"]
    assert len(of_file) == 6
    own = next(season for season in of_file if season["block_id"] == "larkbend.creek")
    assert own["totals"] == stored[0]["totals"]


def test_a_stored_block_runs_on_the_weather_measured_at_its_site(demo: Command) -> None:
    result = demo("hindcast", "creek", *SPAN, "--json")
    assert "as measured at demo-alderway and stored, 2025-01-01 to 2026-07-13" in result.stderr
    assert "years: 2025, 2026" in result.stderr
    (of_file,) = document(demo("hindcast", "creek", "--weather", ALDERWAY, *SPAN, "--json"))
    # Wind of 2 m passes through the profile of wind once more on its way from the store.
    assert document(result)[0]["totals"] == pytest.approx(of_file["totals"], rel=1e-3)


def test_the_last_year_of_the_weather_is_run_by_default(demo: Command) -> None:
    (season,) = document(demo("hindcast", "creek", "--json"))
    assert (season["first_day"], season["last_day"]) == ("2026-01-01", "2026-07-13")


def test_too_little_stored_weather_says_what_to_do(demo: Command) -> None:
    short = demo("hindcast", "creek", "--from", "2024-06-01", "--to", "2024-09-01")
    assert short.exit_code == 2
    assert "the weather covers 2025-01-01 to 2026-07-13" in short.stderr
    assert "rillwright weather-import demo-alderway FILE.csv" in short.stderr
    file = demo("hindcast", str(FARM_FILE), *SPAN)
    assert file.exit_code == 2
    assert "give a file with --weather" in file.output


def test_without_rain_more_has_to_be_given(demo: Command, tmp_path: Path) -> None:
    def totals(rain: str) -> dict[str, float]:
        arguments = ("hindcast", "creek", "--weather", ALDERWAY, *SPAN, "--rain", rain, "--json")
        found: dict[str, float] = document(demo(*arguments))[0]["totals"]
        return found

    wet = tmp_path / "rain.csv"
    lines = Path(ALDERWAY).read_text(encoding="utf-8").splitlines()[2:]
    wet.write_text("date,rain_mm\n" + "".join(f"{line[:10]},0.0\n" for line in lines))
    with_rain, without, of_file = totals("column"), totals("none"), totals(str(wet))
    assert without["rain_mm"] == 0.0
    assert without["gross_mm"] > with_rain["gross_mm"]
    assert of_file == without


def test_a_forecast_error_is_no_perfect_forecast(demo: Command) -> None:
    arguments = ("hindcast", "creek", "--weather", ALDERWAY, *SPAN, "--json")
    perfect = document(demo(*arguments))[0]["totals"]
    naive = document(demo(*arguments, "--forecast-error", "yesterday"))[0]["totals"]
    assert perfect["irrigation_drainage_mm"] == 0.0
    assert naive["gross_mm"] != perfect["gross_mm"]


def test_a_span_that_the_weather_does_not_cover_is_refused(demo: Command) -> None:
    result = demo(
        "hindcast", "creek", "--weather", ALDERWAY, "--from", "2024-12-01", "--to", "2025-06-01"
    )
    assert result.exit_code == 2
    assert "2025-01-01" in result.stderr


def test_the_season_is_readable(demo: Command) -> None:
    result = demo("hindcast", "creek", "--weather", ALDERWAY, *SPAN)
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert result.stdout.count("peak") == 1
    assert "days watered" in result.stdout


# --- against a rule of thumb ---------------------------------------------------------------------

AGAINST = ("hindcast", "larkbend.creek", "--weather", ALDERWAY, *SPAN, "--against")


def test_a_rule_of_thumb_stands_beside_the_plan_as_table_csv_and_picture(
    demo: Command, tmp_path: Path
) -> None:
    picture = tmp_path / "programs.svg"
    shown = demo(*AGAINST, "1.5 in/week", "--water-price", "1/1000 gal", "--svg", str(picture))
    text = " ".join(shown.stdout.split())
    assert "rule of thumb" in text and "weekly timer" in text and "Cost" in text
    assert "Creek blueberries: water of a year" in picture.read_text("utf-8")
    found = rows(demo(*AGAINST, "1.5 in/week", "--csv").stdout)
    assert [row["program"] for row in found] == ["rule", "weekly", "daily", "foreseen", "own"]
    # The invented runs before the books begin, every second day up to 5 July.
    assert (found[-1]["known_day_count"], found[-1]["season_day_count"]) == ("35", "43")
    # 43 days at 38.1 mm in seven are 234 mm; the last day and whole minutes: within 2 %.
    assert float(found[0]["gross_mm"]) == pytest.approx(43 / 7 * 38.1, rel=0.02)


def test_a_rule_may_be_a_run_time(demo: Command) -> None:
    (block,) = document(demo(*AGAINST, "45 min/day", "--nitrogen", "70 lb/ac", "--json"))
    assert "no price was given with --water-price" in " ".join(
        demo(*AGAINST, "45 min/day", "--nitrogen", "70 lb/ac").stdout.split()
    )
    rule = block["years"][0]
    assert rule["program"] == "rule"
    assert rule["nitrogen_lost_kg_per_ha"] is not None


@pytest.mark.parametrize(
    ("options", "where"),
    [
        (("1.5 in",), "rule"),
        (("1.5 in/month",), "rule"),
        (("much/week",), "rule"),
        (("1.5 in/week", "--water-price", "free"), "water_price"),
        (("1.5 in/week", "--nitrogen", "70"), "nitrogen"),
    ],
)
def test_what_cannot_be_compared_is_refused_at_its_option(
    demo: Command, options: tuple[str, ...], where: str
) -> None:
    result = demo(*AGAINST, *options)
    assert result.exit_code == 2
    assert where in result.output
