"""The season of a block: each strip with its own scale, what is measured apart from what is not."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.drawing.season import SeasonDays, SeasonWords, season_chart
from service.pages.look import style

SVG = "{http://www.w3.org/2000/svg}"
NAN = math.nan
WORDS = SeasonWords(
    rain="Rain, mm", missing="Missing, mm", irrigation="Irrigation, mm", full="full",
    ahead="forecast", now="12 mm now", last="missing 5 mm", trigger="water from 14 mm",
    suffers="suffers from 20 mm",
)  # fmt: skip
DAYS = SeasonDays(
    missing=(5.0, NAN, 12.0, 5.0),
    unwatered=(11.0, NAN, 12.0, NAN),
    trigger=(14.0,) * 4,
    suffers=(20.0,) * 4,
    rain=(4.0, 0.0, NAN, 0.0),
    irrigation=(6.0, 0.0, 0.0, 7.0),
    first_forecast=3,
    named=((3, "Jul 4"), (0, "Jul 1")),
)


def drawn(days: SeasonDays = DAYS, words: SeasonWords = WORDS, *, is_wide: bool = True) -> str:
    return str(season_chart("A <title>", "It says.", days, words, is_wide=is_wide, name="season"))


def paths(chart: str, css: str) -> list[str]:
    """What is drawn with a class."""
    return re.findall(rf'<path class="{css}" d="([^"]*)"', chart)


def letters(chart: str) -> dict[str, tuple[float, float]]:
    """Where each text stands."""
    found = re.findall(r'<text[^>]* x="([^"]+)" y="([^"]+)">([^<]*)<', chart)
    return {shown: (float(x), float(y)) for x, y, shown in found}


def test_rain_hangs_from_above_and_irrigation_stands_below() -> None:
    chart = drawn()
    (rain,), (run,) = paths(chart, "rain rainfill"), paths(chart, "run")
    sky, _, ground = (float(each.split()[1].split("H")[0]) for each in paths(chart, "axis"))
    assert re.match(rf"M[\d.]+ {sky:g}v[\d.]+h", rain)
    assert re.match(rf"M[\d.]+ {ground:g}v-[\d.]+h", run)
    assert sky < ground


def test_each_strip_has_a_scale_of_its_own() -> None:
    labels = letters(drawn())
    # Rain to 4, irrigation to 8 (round above 7), missing in steps of 10 up to 20 times 1.08.
    assert {"2", "4", "8", "10", "20"} <= set(labels)
    assert labels["full"][1] < labels["10"][1] < labels["20"][1]
    assert labels["10"][1] - labels["full"][1] == pytest.approx(180.0 * 10 / 21.6, abs=0.2)


def test_what_ran_is_solid_and_what_is_planned_is_outlined() -> None:
    chart = drawn()
    assert len(re.findall("M", paths(chart, "run")[0])) == 1
    assert len(re.findall("M", paths(chart, "backed")[0])) == 1
    assert len(paths(chart, "future")) == 1
    over = drawn(replace(DAYS, first_forecast=4))
    assert paths(over, "future") == paths(over, "backed") == []
    assert "forecast</text>" not in over


def test_a_line_is_broken_where_a_day_is_not_known_and_goes_on_as_dots() -> None:
    chart = drawn()
    assert paths(chart, "level")[0].count("M") == 2
    (ahead,) = paths(chart, "level ahead")
    assert paths(chart, "level")[0].split("M")[-1].split("h")[0] in ahead


def test_a_thin_stroke_shows_how_far_a_day_would_have_sunk() -> None:
    (spared,) = paths(drawn(), "spared")
    ((begins, ends),) = re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", spared)
    assert float(ends) - float(begins) == pytest.approx(180.0 * 6 / 21.6, abs=0.2)


def test_lines_differ_by_dash_and_not_by_colour_alone() -> None:
    sheet = style().decode()
    dashes = [
        re.search(rf"\.{css}\{{[^}}]*stroke-dasharray:([\d. ]+)", sheet)
        for css in ("trigger", "stress", r"level\.ahead")
    ]
    assert len({each[1] for each in dashes if each}) == 3


def test_names_of_lines_that_come_close_are_spread() -> None:
    labels = letters(drawn(replace(DAYS, trigger=(19.9,) * 4, missing=(20.0,) * 4)))
    heights = sorted(labels[each][1] for each in (WORDS.last, WORDS.trigger, WORDS.suffers))
    assert min(b - a for a, b in pairwise(heights)) >= 16.0


def test_long_names_get_a_wider_gutter_and_none_leaves_the_drawing() -> None:
    long = replace(WORDS, suffers="las plantas sufren a partir de 20.0 mm")
    for words in (WORDS, long):
        chart = drawn(words=words)
        x, _ = letters(chart)[words.suffers]
        # 0.45 of the letters' height is the narrow face's mean width (look of the pages).
        assert x + 0.45 * 13.0 * len(words.suffers) <= 780


def test_the_narrow_drawing_names_its_lines_inside() -> None:
    chart = drawn(is_wide=False)
    assert 'class="chart only-narrow" viewBox="0 0 360 ' in chart
    assert all(0 <= x <= 360 for x, _ in letters(chart).values())
    assert WORDS.last not in letters(chart)


def test_the_last_weeks_keep_their_days_and_names() -> None:
    later = DAYS.since(2)
    assert later.missing == (12.0, 5.0) and later.first_forecast == 1
    assert list(later.named) == [(1, "Jul 4")]


amounts = st.floats(0.001, 500.0) | st.sampled_from((0.0, NAN))


@given(
    st.lists(st.tuples(amounts, amounts, amounts, amounts), max_size=8),
    st.integers(0, 9),
    st.booleans(),
)
def test_any_season_is_a_drawing_without_a_number_that_is_none(
    rows: list[tuple[float, float, float, float]], first: int, is_wide: bool
) -> None:
    columns = list(zip(*rows, strict=True)) or [()] * 4
    days = SeasonDays(
        missing=columns[0], unwatered=columns[1], trigger=columns[1], suffers=columns[2],
        rain=columns[3], irrigation=columns[3], first_forecast=min(first, len(rows)), named=(),
    )  # fmt: skip
    chart = drawn(days, is_wide=is_wide)
    assert not re.search(r"\b(nan|inf)\b", chart)
    root = ElementTree.fromstring(chart)
    assert root.get("role") == "img"
    assert [each.tag.removeprefix(SVG) for each in root] == ["title", "desc", "g"]
