"""Figures of computed results: they give the numbers in the reader's units and words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from service.operations.reading.block_pipes import PipeReport, solve_definition
from service.operations.waterworks.assess_capacity import assess_capacity
from service.operations.waterworks.check_flow import FlowReport
from service.operations.waterworks.draw_figures import (
    capacity_figure,
    flow_figure,
    row_figure,
    text_profile,
)
from service.translations import wording
from service.waterworks.block_layout import BlockLayout
from service.waterworks.flow_check import check_flow
from tests.factories import make_block
from tests.invented_summers import invented_farm, invented_weather

LAYOUT = BlockLayout(lateral_diameter_mm=16.0, emitter_count=50, supply_head_m=10.0)


@pytest.fixture(scope="module")
def row() -> PipeReport:
    """A row of 50 emitters, solved."""
    return solve_definition(make_block(layout=LAYOUT))


def flow_report(*, level_after: float) -> FlowReport:
    """Thirty runs of a block, at another level from the 19th on."""
    ratio = 1.0 + 0.01 * np.sin(7.0 * np.arange(30))
    ratio[18:] *= level_after
    expected = np.full(30, 1000.0)
    return FlowReport(
        block_id="brook.north",
        days=np.datetime64("2026-06-01", "D") + np.arange(30),
        duration_min=np.full(30, 60.0),
        metered_l=expected * ratio,
        expected_l=expected,
        flow_origin="",
        check=check_flow(expected * ratio, expected),
        cautions=(),
    )


def test_a_row_states_its_least_and_most_flow_in_the_readers_units(row: PipeReport) -> None:
    flow = row.row.emitter_flow_l_per_h
    drawn = str(row_figure(row))
    assert f"From {flow.min():.3g} to {flow.max():.3g} L/h." in drawn
    us = str(row_figure(row, wording("en", "us")))
    assert f"From {flow.min() / 3.785411784:.3g} to {flow.max() / 3.785411784:.3g} gal/h." in us
    assert "m</" in drawn and "L/h" not in us


def test_a_change_of_the_flow_is_shown_with_its_day_and_in_the_readers_language() -> None:
    report = flow_report(level_after=0.7)
    drawn = str(flow_figure(report))
    assert "brook.north: metered over expected volume" in drawn
    assert "2026-06-19: -30 %" in drawn and report.verdict.value in drawn
    spanish = str(flow_figure(report, wording("es", "si")))
    assert report.verdict.value not in spanish and "-30 %" in spanish


def test_a_steady_season_shows_no_change() -> None:
    drawn = str(flow_figure(flow_report(level_after=1.0)))
    assert "the block takes as much water as at the start" in drawn
    assert "%</text>" not in drawn


def test_a_block_without_runs_has_a_figure_without_ends() -> None:
    report = flow_report(level_after=1.0)
    none = np.array([])
    empty = replace(
        report, days=report.days[:0], metered_l=none, expected_l=none, check=check_flow(none, none)
    )
    assert "too few metered runs to tell" in str(flow_figure(empty))


def test_an_impossible_change_shows_its_reason_in_place_of_its_share() -> None:
    days, fields = invented_weather()
    some = days < np.datetime64("2015-01-01")
    year = {name: values[some] for name, values in fields.items()}
    (supply,) = assess_capacity(invented_farm(), days[some], year).supplies
    drawn = str(capacity_figure(supply))
    assert "well: summers in which every block keeps up" in drawn
    assert "second-line: not possible" in drawn
    kept = supply.changes[0].kept_share
    assert kept is not None and f"now: {100.0 * kept:.0f} %" in drawn


def test_a_profile_for_a_terminal_has_one_mark_a_column_and_leaves_dry_places_empty() -> None:
    lines = text_profile([2.0, 1.5, 1.0, 0.0], rows=5)
    assert len(lines) == 5
    marks = [line.partition("|")[2] for line in lines]
    assert [mark.count("*") for mark in marks] == [1, 1, 1, 0, 1]
    assert lines[0].startswith("   2.000 |*")
    assert text_profile([]) == []
    assert len(text_profile(list(range(500)), columns=60)[-1].partition("|")[2]) <= 60
