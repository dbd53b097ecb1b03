"""A stored block's past seasons under several programs, by the weather measured at its site.

What was run there is one of them, as far as it is known.

Every evening of the span is scheduled twice, which takes seconds: it runs on request, one at a
time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from threading import Lock

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.evening.measured_weather import (
    at_standard_wind_height,
    last_measured_day,
    measured_weather,
)
from service.operations.reading.one_at_a_time import one_at_a_time
from service.operations.reading.read_farms import today_at_block
from service.operations.review.compare_programs import compare_programs
from service.operations.review.hindcast import narrow_bundle
from service.operations.review.own_program import own_runs
from service.ports import Clock
from service.records.comparison import Against, YearFigures

MOST_DAYS = 3 * 366
"""Longest span; more would take minutes, which is a job for the command."""
_one_at_a_time = Lock()
"""One comparison keeps a core busy for seconds; other callers are asked to come back later."""


def compare_block(
    block_id: str,
    *,
    span: tuple[date | None, date | None],
    against: Against,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
) -> tuple[YearFigures, ...]:
    """A block under each program, year after year, beside the blocks that share its supply.

    span: first and last day; by default the year up to yesterday, or up to the last day that was
    measured where that is longer ago. Raises NotFound, InputInvalid
    for a span that does not rise or is too long, WeatherInvalid where the measured weather has
    gaps, and Busy while another comparison runs.
    """
    with one_at_a_time(_one_at_a_time, "another comparison is running; ask again in a minute"):
        with unit_of_work(write=False) as unit:
            today = today_at_block(unit, block_id, clock.now())
            block = unit.blocks.get_block(block_id, day=today)
            last_day = span[1] or min(
                today - ONE_DAY, last_measured_day(unit, block.site_id) or today - ONE_DAY
            )
            first_day = span[0] or date(last_day.year, 1, 1)
            _check(first_day, last_day)
            bundle = unit.blocks.get_bundle(block.farm_id, day=today)
            days, fields = measured_weather(
                unit, block.site_id, farm_id=block.farm_id, first_day=first_day,
                last_day=last_day, clock=clock, source_order=source_order,
            )  # fmt: skip
            own = own_runs(unit, block_id, first_day=first_day, last_day=last_day)
        begins = max(first_day, days[0].item()) if span[0] is None else first_day
        found = compare_programs(
            narrow_bundle(at_standard_wind_height(bundle), block_id),
            days, fields, first_day=begins, last_day=last_day, against=replace(against, own=own),
        )  # fmt: skip
        return found.years[block_id]


def _check(first_day: date, last_day: date) -> None:
    if not 0 <= (last_day - first_day).days < MOST_DAYS:
        raise InputInvalid(
            "the comparison cannot run",
            [
                Fault(
                    "from",
                    f"{first_day} to {last_day}",
                    "days that rise, three years at most; for more there is `rillwright hindcast`",
                )
            ],
        )
