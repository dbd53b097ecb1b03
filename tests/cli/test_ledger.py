"""The balance of a block, and the water of a farm, as people read them in a terminal."""

from __future__ import annotations

import csv
import re

import pytest

from tests.cli.conftest import Command, document

SPAN = ("--from", "2026-07-08", "--to", "2026-07-13")


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("block", ["creek", "vines", "apples"])
def test_every_line_fits_eighty_columns(demo: Command, block: str, units: str) -> None:
    text = demo("balance", block, "--units", units).stdout
    assert max(map(len, text.splitlines())) <= 80


def test_a_line_of_the_table_adds_up(demo: Command) -> None:
    text = demo("balance", "creek", *SPAN, "--units", "si").stdout
    rows = [
        [float(number) for number in re.findall(r"-?\d+\.\d+", line)]
        for line in text.splitlines()
        if re.match(r"[A-Z][a-z]{2} +\d+ Jul ", line)
    ]
    assert len(rows) == 6
    ends = [row[-2] for row in rows]
    for before, (rain, net, drains, _, crop, end, _) in zip(ends, rows[1:], strict=False):
        assert before - rain - net + drains + crop == pytest.approx(end, abs=0.03)


def test_csv_and_json_hold_the_same_days(demo: Command) -> None:
    header, *lines = csv.reader(demo("balance", "creek", *SPAN, "--csv").stdout.splitlines())
    found = document(demo("balance", "creek", *SPAN, "--json"))
    assert found["block_id"].endswith(".creek")
    assert header == list(found["days"][0])
    assert [line[0] for line in lines] == [day["day"] for day in found["days"]]


def test_a_span_without_a_ledger_says_what_keeps_one(demo: Command) -> None:
    result = demo("balance", "creek", "--from", "2020-01-01", "--to", "2020-01-02")
    assert (result.exit_code, "run-day" in result.stderr) == (0, True)


def test_two_kinds_of_output_and_an_impossible_span_are_refused(demo: Command) -> None:
    assert demo("balance", "creek", "--csv", "--json").exit_code == 2
    assert demo("balance", "creek", "--from", "2026-07-13", "--to", "2026-07-01").exit_code == 2


@pytest.mark.parametrize("units", ["us", "si"])
def test_the_water_of_a_farm_fits_eighty_columns(demo: Command, units: str) -> None:
    by = ("--by", "block", "--by", "month")
    text = demo("water-used", "larkbend", *by, "--limit", "1 ac-ft", "--units", units).stdout
    assert max(map(len, text.splitlines())) <= 80
    assert "% of " in text


def test_the_water_of_the_table_is_that_of_the_csv(demo: Command) -> None:
    header, *lines = csv.reader(demo("water-used", "larkbend", "--csv").stdout.splitlines())
    text = demo("water-used", "larkbend", "--units", "us").stdout
    for line in lines:
        month = dict(zip(header, line, strict=True))
        assert f"{float(month['volume_gal']):,.0f}" in text
    found = document(demo("water-used", "larkbend", "--json"))
    assert found["total"]["volume_l"] == pytest.approx(
        sum(float(line[1]) for line in lines), abs=0.5
    )


def test_a_permit_that_is_passed_says_so(demo: Command) -> None:
    text = demo("water-used", "larkbend", "--limit", "10 gal").stdout
    assert "more than that" in text
    assert demo("water-used", "larkbend", "--limit", "ten").exit_code == 2
