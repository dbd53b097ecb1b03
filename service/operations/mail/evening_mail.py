"""Tomorrow's plan by mail: queued in the transaction that publishes it, written when it is sent.

An order is one row per reader, so that mail adds little to the evening run of a region or to the
time it holds the database. A reader gets a second mail for the same day only if minutes changed
past the threshold since the last one, or an injection was ordered, changed, cancelled or moved; a
newer order replaces an older one that has not been sent.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY, first_instant, midnight_utc
from service.agronomy.records import Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import PlanNotFound
from service.operations.evening.turn import ChangeThreshold
from service.operations.mail.timer_lines import line_of_day
from service.operations.mail.weighing_notices import weighing_notices
from service.operations.reading.block_lines import line_of_plan, pause_of_day
from service.operations.reading.hindsight import hindsights
from service.operations.reading.read_plans import PlanView, list_plans, metered_day
from service.operations.timers.set_timer import timers_of
from service.records.farms import BlockDefinition, FarmDefinition
from service.records.feedback import MeteredDay
from service.records.letters import (
    BlockLine,
    EveningLetter,
    SiteLine,
    SkyDay,
)
from service.records.mail import MailOrder, PlanMark
from service.records.weather import Attribution

EVENING = "evening"
SENT_UNTIL = time(12)
"""A plan that has not been sent by noon of its day is dropped."""
LATE_PLAN_SENT_FOR = timedelta(hours=1)
"""How long a plan that is made later than that is tried."""
THRESHOLD = ChangeThreshold()
INJECTION_MOVE_MIN = 15
"""An injection that begins or ends this much earlier or later is news; our rule."""
_INJECTION = " injection"
"""Suffix of a block id, which contains no space."""


def queue_evening_mails(
    unit: UnitOfWork,
    farm_keys: Ints,
    *,
    day: date,
    issued_at: datetime,
    threshold: ChangeThreshold = THRESHOLD,
) -> int:
    """Queue the mails of these farms' plans for a day; returns how many.

    For the transaction that published the plans. Three queries for any number of farms, one where
    nobody reads mail. The same plans again queue nothing.
    """
    readers = unit.people.list_readers(EVENING, role="grower", farm_keys=farm_keys)
    if not readers:
        return 0
    marks = {mark.farm_id: mark for mark in unit.outbox.read_marks(farm_keys, day=day)}
    mailed = unit.outbox.list_content(list(marks), day=day, kind=EVENING)
    orders = []
    for known in readers:
        mark = marks.get(known.farm_id)
        if mark is None or issued_at >= midnight_utc(day + ONE_DAY, mark.zone):
            continue  # nobody is mailed about a day that is over
        before = mailed.get((known.person_key, known.farm_id))
        if before is not None and not _is_news(before, mark, threshold):
            continue
        orders.append(
            MailOrder(
                person_key=known.person_key,
                farm_id=known.farm_id,
                plan_day=day,
                kind=EVENING,
                plan_version=mark.plan_version,
                content=_content_mark(mark),
                expires_at=max(
                    first_instant(day, SENT_UNTIL, mark.zone), issued_at + LATE_PLAN_SENT_FOR
                ),
            )
        )
    return unit.outbox.queue(orders, at=issued_at)


def _content_mark(mark: PlanMark) -> dict[str, int | str | None]:
    """The minutes and injections that a mail of these plans reports."""
    injections = {f"{block_id}{_INJECTION}": text for block_id, text in mark.injections.items()}
    return {**mark.minutes, **injections}


def _is_news(
    before: Mapping[str, int | str | None], mark: PlanMark, threshold: ChangeThreshold
) -> bool:
    """Whether the minutes or the injection of any block differ enough from what was mailed."""
    now = _content_mark(mark)
    if before.keys() != now.keys():
        return True
    pairs = [(before[key], value) for key, value in now.items()]
    if any((old is None) != (new is None) for old, new in pairs):
        return True
    texts = [(old, new) for old, new in pairs if isinstance(old, str) and isinstance(new, str)]
    if any(_has_moved(old, new) for old, new in texts):
        return True
    both = [(old, new) for old, new in pairs if isinstance(old, int) and isinstance(new, int)]
    if not both:
        return False
    passed = threshold.is_passed(
        np.array([old for old, _ in both], dtype=np.float64),
        np.array([new for _, new in both], dtype=np.int64),
    )
    return bool(passed.any())


def _has_moved(before: str, now: str) -> bool:
    """Whether another order is injected, or the same one at other times."""
    order_before, *spans_before = before.split()
    order_now, *spans_now = now.split()
    if order_before != order_now or len(spans_before) != len(spans_now):
        return True
    ends_before, ends_now = ("-".join(spans).split("-") for spans in (spans_before, spans_now))
    return any(
        abs(int(old) - int(new)) >= INJECTION_MOVE_MIN
        for old, new in zip(ends_before, ends_now, strict=True)
        if old and new
    )


# --- the letter --------------------------------------------------------------------------------


def evening_letter(
    farm: FarmDefinition,
    day: date | None,
    *,
    unit_of_work: UnitOfWorkFactory,
    attributions: Mapping[str, Attribution],
    blocks: Sequence[BlockDefinition] | None = None,
) -> EveningLetter:
    """The plans in force of a farm for a day, the latest one planned if None, as a letter.

    ``blocks`` are the farm's on that day; None: they are read. Raises PlanNotFound if there are no
    plans.
    """
    views = list_plans(day=day, farm_id=farm.farm_id, unit_of_work=unit_of_work, known=blocks)
    if not views:
        raise PlanNotFound(f"no plan of farm {farm.farm_id} for {day or 'any day'}")
    day = views[0].plan.day
    with unit_of_work(write=False) as unit:
        farm_key = unit.blocks.farm_keys([farm.farm_id])[farm.farm_id]
        places = unit.reports.read_places(farm_key, day=day)
        key_of = {place.block_id: key for key, place in places.items()}
        metered = _metered_before(unit, key_of, views, day)
        periods = unit.pauses.read_periods(np.array([*places], dtype=np.int64))
        (mark,) = unit.outbox.read_marks(np.array([farm_key], dtype=np.int64), day=day)
        looked_back = hindsights(unit, key_of, day)
        notices = weighing_notices(unit, key_of, views, day)
        timers = {
            state.block_id: line_of_day(state, day)
            for state in timers_of(unit, [view.block for view in views], today=day - ONE_DAY)
        }
    paused = {block_id: periods.get(key, ()) for block_id, key in key_of.items()}
    by_site = {view.block.site_id: view for view in reversed(views)}
    sites = tuple(site_line(site_id, view) for site_id, view in sorted(by_site.items()))
    return EveningLetter(
        farm_id=farm.farm_id,
        farm_name=farm.name,
        zone=farm.zone,
        day=day,
        issued_at=max(view.plan.issued_at for view in views),
        plan_version=mark.plan_version,
        blocks=_in_order(
            [
                replace(
                    line_of_plan(view),
                    timer=timers.get(view.plan.block_id),
                    metered=metered.get(view.plan.block_id),
                    hindsight=looked_back.get(view.plan.block_id),
                    pause=pause_of_day(
                        (*view.block.no_water, *paused.get(view.plan.block_id, ())), day
                    ),
                )
                for view in views
            ]
        ),
        sites=sites,
        attributions=named_sources(by_site.values(), attributions),
        notices=notices,
    )


def _in_order(blocks: Sequence[BlockLine]) -> tuple[BlockLine, ...]:
    """Blocks that run, by their first start, then the others by name."""
    latest = datetime.max.replace(tzinfo=UTC)
    return tuple(
        sorted(
            blocks,
            key=lambda block: (
                block.pulses[0].starts_at if block.pulses else latest,
                block.status != "no-weather",
                block.name,
            ),
        )
    )


def _metered_before(
    unit: UnitOfWork, key_of: Mapping[str, int], views: Sequence[PlanView], day: date
) -> dict[str, MeteredDay]:
    """What the meters counted on the day before a plan, by block; one or two queries a farm."""
    before = day - ONE_DAY
    keys = np.array([*key_of.values()], dtype=np.int64)
    counted = unit.reports.read_meter_days(keys, first_day=before, last_day=before)
    if not counted:
        return {}
    gross_mm = unit.ledger.read_gross_mm(keys, day=before)
    blocks = {view.plan.block_id: view.block for view in views}
    return {
        block_id: metered_day(blocks[block_id], before, counted[key, before], gross_mm[key])
        for block_id, key in key_of.items()
        if (key, before) in counted and block_id in blocks and key in gross_mm
    }


def site_line(site_id: str, view: PlanView) -> SiteLine:
    """The weather behind a plan."""
    weather, day = view.plan.weather, view.plan.day
    spread = weather.rain_spread
    origin = weather.origin("tmax_c", day)
    return SiteLine(
        site_id=site_id,
        source=origin.source if origin else None,
        kind=origin.kind if origin else "",
        issued_at=origin.issued_at if origin else None,
        observed_until=view.plan.reasoning.settled_day,
        rain_until=next(
            (
                each
                for each in (day - ONE_DAY, day - 2 * ONE_DAY)
                if (rain := weather.origin("rain_mm", each)) and rain.kind != "forecast"
            ),
            None,
        ),
        rain_before_mm=weather.value("rain_mm", day - 2 * ONE_DAY),
        rain_today_mm=weather.value("rain_mm", day - ONE_DAY),
        rain_tomorrow_mm=weather.value("rain_mm", day),
        rain_probability_fraction=weather.value("rain_probability_fraction", day),
        rain_band_mm=None if spread is None else spread.band_mm(day),
        rain_counts_fraction=None if spread is None else spread.chance_that_counts(day),
        sky=tuple(
            SkyDay(
                day=each,
                tmin_c=weather.value("tmin_c", each),
                tmax_c=weather.value("tmax_c", each),
                wind_m_s=weather.value("u2_m_s", each),
                rain_mm=weather.value("rain_mm", each),
                rain_probability_fraction=weather.value("rain_probability_fraction", each),
            )
            for each in weather.days
            if each >= day
        ),
    )


def named_sources(
    views: Iterable[PlanView], attributions: Mapping[str, Attribution]
) -> tuple[Attribution, ...]:
    """Attributions for the weather behind these plans."""
    used = {origin.source for view in views for origin in view.plan.weather.origins}
    return tuple(each for name, each in attributions.items() if name in used)
