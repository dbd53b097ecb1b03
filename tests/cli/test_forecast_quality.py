"""How good the forecast was, in a terminal; the demonstration's forecasts are invented."""

from __future__ import annotations

from tests.cli.conftest import Command, document


def test_the_demonstration_says_how_good_its_forecast_was(demo: Command) -> None:
    text = demo("forecast-quality", "demo-alderway").stdout
    found = document(demo("forecast-quality", "demo-alderway", "--farm", "larkbend", "--json"))
    assert max(map(len, text.splitlines())) <= 80
    (source,) = found["sources"]
    assert (source["source"], source["is_in_use"]) == ("invented", True)
    next_day = source["leads"][0]
    count = next_day["rain"]["pair_count"]
    right = round(next_day["chance"]["right_fraction"] * count)
    assert f"right on {right} of {count} days" in text
    assert "Next day" in text and "7 days ahead" in text
    # What is further ahead is worth less.
    assert next_day["rain"]["skill_ratio"] > source["leads"][-1]["rain"]["skill_ratio"]


def test_an_unknown_site_is_not_found(demo: Command) -> None:
    assert demo("forecast-quality", "nowhere").exit_code == 1
    assert demo("forecast-quality", "demo-alderway", "--farm", "nowhere").exit_code == 1
