"""The plan as people and programs read it."""

from __future__ import annotations

import re
from collections import Counter
from datetime import date

import pytest
import time_machine

from service import __version__
from service.agronomy.reasoning import one_sentence
from service.cli import shown
from service.cli.shown import clock_names
from service.cli.terminal import UnitSystem
from service.translations import wording
from tests.cli.conftest import Command, document
from tests.cli.test_check import EVENING


def test_every_line_fits_eighty_columns(demo: Command) -> None:
    for arguments in (("plan",), ("why", "creek"), ("counties", "--block", "creek")):
        result = demo(*arguments, "--units", "us")
        assert result.exit_code == 0, result.output
        assert max(map(len, result.stdout.splitlines())) <= 80


def test_why_says_how_far_the_forecast_of_rain_spreads(demo: Command) -> None:
    spread = document(demo("why", "creek", "--json"))["rain_spread"]
    text = re.sub(r"\s+", " ", demo("why", "creek", "--units", "si").stdout)
    wet, highest = spread["wet_fraction"][0], spread["rain_p90_mm"][0]
    assert f"Of {spread['member_count']} courses that the forecast may take" in text
    assert f"{wet:.0%} bring rain on" in text
    assert f"nine in ten at most {highest:.1f} mm." in text


def test_the_headline_says_pulses_starts_minutes_and_volume(demo: Command) -> None:
    plan = document(demo("plan", "--block", "creek", "--json"))[0]
    text = demo("plan", "--block", "creek").stdout
    lengths = [pulse["duration_min"] for pulse in plan["pulses"]]
    assert sum(lengths) == plan["planned_min"]
    assert f"= {plan['planned_min']} min" in text
    for pulse in plan["pulses"]:
        assert pulse["starts_at"][11:16] in text
    gallons = plan["volume_l"] / 3.785411784  # NIST Handbook 44, Appendix C: 231 cubic inches
    assert f"{gallons:,.0f} gal ({plan['volume_l'] / 1000:.1f} m3)" in text


def test_the_plan_opens_with_one_line_a_block(demo: Command) -> None:
    text = demo("plan", "--units", "us").stdout
    head, *lines = text[text.index("Block ") :].splitlines()
    assert head.split() == ["Block", "Start", "Minutes", "Water,", "gal", "State"]
    table = lines[: lines.index("")]
    plans = document(demo("plan", "--json"))
    assert len(table) == len(plans)
    starts = []
    for plan in plans:
        (line,) = (each for each in table if each.startswith(plan["name"][:20]))
        if plan["pulses"]:
            starts.append(plan["pulses"][0]["starts_at"][11:16])
            # NIST Handbook 44, Appendix C: 231 cubic inches.
            gallons = f"{plan['volume_l'] / 3.785411784:,.0f}"
            assert {starts[-1], gallons, str(plan["planned_min"])} <= set(line.split())
    running = [found[0] for line in table if (found := re.findall(r"\d\d:\d\d", line))]
    assert running == sorted(starts)
    assert not any(re.search(r"\d\d:\d\d", line) for line in table[len(running) :])


def test_a_caution_of_several_blocks_is_printed_once(demo: Command) -> None:
    text = " ".join(demo("plan").stdout.split())
    shared = Counter(
        caution for plan in document(demo("plan", "--json")) for caution in plan["cautions"]
    )
    assert max(shared.values()) > 1
    assert {text.count(caution) for caution in shared} == {1}


def test_the_version_is_printed_without_a_command(demo: Command) -> None:
    result = demo("--version")
    assert (result.exit_code, result.stdout.strip()) == (0, f"rillwright {__version__}")


def test_the_days_pulses_are_listed_again_in_order_of_time(demo: Command) -> None:
    text = " ".join(demo("plan").stdout.split())
    order = text.partition("Run order: ")[2].partition(".")[0].split("; ")
    planned = [
        (pulse["starts_at"][11:16], plan["block_id"].partition(".")[2])
        for plan in document(demo("plan", "--json"))
        for pulse in plan["pulses"]
    ]
    assert [(entry[:5], entry[12:]) for entry in order] == sorted(planned)


def test_a_block_at_rest_says_so_and_until_when_it_could_go_without_water(demo: Command) -> None:
    text = " ".join(demo("plan", "--block", "vines").stdout.split())
    assert "REST" in text
    assert "without irrigation, stress begins on" in text
    assert "the root zone was taken as full then. Say how wet it is now" in text


def test_the_clock_has_the_name_of_the_days_that_are_planned() -> None:
    # Clocks of New York went forward on 8 March 2026 and back on 1 November (tz database).
    zone = "America/New_York"
    assert clock_names(date(2026, 7, 15), date(2026, 7, 15), zone) == "EDT"
    assert clock_names(date(2026, 1, 15), date(2026, 1, 15), zone) == "EST"
    assert clock_names(date(2026, 3, 8), date(2026, 3, 8), zone) == "EST, then EDT"
    assert clock_names(date(2026, 11, 1), date(2026, 11, 1), zone) == "EDT, then EST"


def test_units_follow_the_farm_unless_asked_otherwise(demo: Command) -> None:
    of_farm, us, si = (
        demo("plan", *more).stdout for more in ((), ("--units", "us"), ("--units", "si"))
    )
    assert of_farm == us
    assert " gal (" in us
    assert " gal" not in si
    assert " in tomorrow" not in si


def test_json_has_the_same_keys_for_every_block_and_is_in_si(demo: Command) -> None:
    plans = document(demo("plan", "--json", "--units", "us"))
    assert len(plans) == 6
    assert len({tuple(plan) for plan in plans}) == 1
    assert all(" in," not in plan["reason"] for plan in plans)
    for plan in plans:
        assert plan["zone"] == "America/New_York"
        assert all(pulse["starts_at"].endswith("-04:00") for pulse in plan["pulses"])
        assert plan["outlook"][0]["day"] == plan["day"]


def test_the_latest_planned_day_is_the_default(demo: Command) -> None:
    latest = document(demo("plan", "--json"))
    named = document(demo("plan", "--json", "--on", "2026-07-15"))
    before = document(demo("plan", "--json", "--on", "2026-07-14"))
    assert latest == named
    assert {plan["day"] for plan in before} == {"2026-07-14"}


def test_weather_age_is_in_the_plan(demo: Command) -> None:
    weather = document(demo("plan", "--block", "creek", "--json"))[0]["weather"]
    assert weather["settled_day"] == "2026-07-13"
    assert weather["kind"] == "forecast"
    assert weather["age_h"] == 1.5
    text = " ".join(demo("plan", "--block", "creek").stdout.split())
    assert "observed up to Mon 13 Jul; forecast of Tue 14 Jul 17:30 EDT" in text


def test_why_can_be_followed_with_a_calculator(demo: Command) -> None:
    steps = {
        step["name"]: step["value"] for step in document(demo("why", "creek", "--json"))["steps"]
    }
    assert steps["crop_et_mm"] == pytest.approx(
        steps["crop_coefficient"] * steps["et0_mm"], abs=2e-3
    )
    assert steps["planned_depletion_mm"] == pytest.approx(
        steps["depletion_start_mm"] + steps["crop_et_mm"], abs=1e-5
    )
    assert steps["need_mm"] == pytest.approx(
        steps["planned_depletion_mm"] - steps["rain_room_mm"], abs=1e-5
    )
    assert steps["gross_mm"] == pytest.approx(
        steps["planned_min"] / 60 * steps["application_rate_mm_per_h"], abs=1e-5
    )


def test_the_ledger_of_why_is_in_the_farms_units(demo: Command) -> None:
    inches, millimetres = (
        demo("why", "creek", *units).stdout.partition("Ledger up to that midnight, ")[2]
        for units in ((), ("--units", "si"))
    )
    assert inches.startswith("in: end") and millimetres.startswith("mm: end")
    lasts = [
        float(re.findall(r"^ *[A-Z][a-z]{2} \d+ Jul .* (\d+\.\d+)\s*$", text, re.M)[-1])
        for text in (inches, millimetres)
    ]
    assert lasts[0] * 25.4 == pytest.approx(lasts[1], abs=0.02)


def test_cautions_close_the_plan(demo: Command) -> None:
    text = " ".join(demo("plan").stdout.split())
    for words in ("walk the lines", "Backflow prevention", "never starts a pump by itself"):
        assert words in text


def test_a_depth_in_a_sentence_is_rounded_once_and_as_everywhere() -> None:
    # 5.25 mm is 0.2067 in; rounded to 5.2 mm before, it would read 0.20 in.
    numbers = {"crop_et_mm": 5.25, "planned_depletion_mm": 5.25, "trigger_mm": 5.25}
    text = one_sentence(
        numbers, [(240, 60)], write_depth=lambda depth_mm: shown.depth(depth_mm, UnitSystem.US)
    )
    assert text.startswith("The crop will use 0.21 in; depletion would reach 0.21 in")


@pytest.mark.parametrize("tenths", range(0, 400, 7))
def test_command_line_page_and_mail_round_a_depth_alike(tenths: int) -> None:
    # Halves are where two ways of rounding differ.
    for depth_mm in (tenths / 10.0 + 0.05, tenths * 0.127, -tenths / 1e4):
        for name, system in (("us", UnitSystem.US), ("si", UnitSystem.SI)):
            page = wording("en", name).bare_depth(depth_mm).replace(",", "")
            assert shown.bare_depth(depth_mm, system) == page


def test_counties_are_shown_from_the_largest_need(demo: Command) -> None:
    compared = document(demo("counties", "--block", "creek", "--from", "2026-07-07", "--json"))
    by_rank = sorted(compared["counties"], key=lambda county: county["rank"])
    needs = [county["net_need_mm"] for county in by_rank]
    assert needs == sorted(needs, reverse=True)
    assert all(county["forecast_day_count"] == 0 for county in by_rank)
    text = demo("counties", "--block", "creek", "--from", "2026-07-07").stdout
    places = [text.index(county["county_code"]) for county in by_rank]
    assert places == sorted(places)


def test_a_week_ahead_says_that_it_is_forecast(demo: Command) -> None:
    arguments = ("counties", "--block", "creek", "--from", "2026-07-15")
    compared = document(demo(*arguments, "--json"))
    assert {county["forecast_day_count"] for county in compared["counties"]} == {7}
    # Months later the forecast is too old to be used, and no week of normals looks like one of it.
    assert {county["rests_on"] for county in compared["counties"]} == {"stand-in"}
    assert "for up to 7 of the days: not to be held against" in " ".join(
        demo(*arguments).stdout.split()
    )
    with time_machine.travel(EVENING, tick=False):
        compared = document(demo(*arguments, "--json"))
        assert {county["forecast_days_count"] for county in compared["counties"]} == {7}
        assert "~ rests on a forecast, for up to 7 of the days" in " ".join(
            demo(*arguments).stdout.split()
        )
