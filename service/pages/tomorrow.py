"""The page of a farm's day: the next valve, the day in order, the blocks by urgency, the supply."""

from __future__ import annotations

from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.delivery.foot_words import (
    caution_words,
    issue_words,
    source_words,
    weather_words,
)
from service.operations.access.manage_keys import Right
from service.operations.evening.plan_first import plan_first as make_plan
from service.operations.reading.read_farms import local_day
from service.pages.day_board import board_view
from service.pages.day_supply import supply_chart
from service.pages.day_view import day_view
from service.pages.first_plans import MAKING
from service.pages.plans import asked_day, farm_of, has_blocks, latest_day, letter_of
from service.pages.report_day import form_of_last_day
from service.pages.set_up_steps import Step, set_up_of
from service.pages.visit import Visit, redirect

MOST_MINUTE_FIELDS = 14
"""Blocks whose minutes are asked for here; for more the form leads to its own page."""
MOST_OPENINGS = 14
"""Openings that are shown at once; all others are folded."""
MOST_BLOCKS = 14
"""Blocks that are shown at once, the most urgent ones; all others are folded."""


def show_tomorrow(visit: Visit) -> Response:
    """The plan of a farm's day, tomorrow's unless another day is asked for."""
    farm = farm_of(visit)
    now = visit.service.clock.now()
    today = local_day(now, farm.zone)
    found = letter_of(visit, farm, today)
    if found is None:
        day = asked_day(visit) or today + ONE_DAY
        is_set_up = has_blocks(visit, farm, today + ONE_DAY)
        return visit.show(
            "no_plan.html",
            farm=farm,
            set_up=set_up_of(visit, farm, Step.PLAN) if visit.may(Right.FARM_WRITE) else None,
            day=day,
            is_set_up=is_set_up,
            latest=latest_day(visit, farm, today),
            issue_clock=visit.words.wall_clock(farm.issue_wall_min),
            first=visit.first_plans.state(farm.farm_id) if visit.query.get("first") else "",
            may_plan=visit.may(Right.FARM_WRITE) and day == today + ONE_DAY and is_set_up,
        )
    words = visit.words
    letter, bundle = found
    view = day_view(letter, bundle, words, now=now, today=today)
    first = next((place for place, each in enumerate(view.openings) if each.is_next), 0)
    report, waiting_count = form_of_last_day(visit, farm)
    return visit.show(
        "tomorrow.html",
        farm=farm,
        letter=letter,
        day=words.long_day(letter.day),
        foot=(
            *weather_words(letter, words),
            issue_words(letter, words),
            " ".join(caution_words(letter, words)),
            *source_words(letter),
        ),
        view=view,
        board=board_view(letter, words),
        most_blocks=MOST_BLOCKS,
        chart=supply_chart(letter, bundle, words),
        shown=view.openings[first : first + MOST_OPENINGS],
        folded_openings=view.openings[:first] + view.openings[first + MOST_OPENINGS :],
        before=letter.day - ONE_DAY,
        after=letter.day + ONE_DAY,
        report=report,
        shows_minutes=report is not None and len(report.fields) <= MOST_MINUTE_FIELDS,
        waiting_count=waiting_count,
    )


def plan_first(visit: Visit) -> Response:
    """Make tomorrow's plan now, so that a new farm need not wait for its first evening."""
    farm = farm_of(visit, Right.FARM_WRITE)
    visit.afterwards = visit.first_plans.begin(
        farm.farm_id,
        lambda: make_plan(
            farm,
            unit_of_work=visit.service.unit_of_work,
            replanning=visit.service.replanning,
            refreshers=visit.service.refreshers,
        ),
    )
    return redirect(f"/farms/{farm.farm_id}/tomorrow", first=MAKING)
