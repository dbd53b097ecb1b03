"""A farm's day in the order of the clock: what is opened or closed next, each opening, the sky."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from service.delivery.day_words import ClockTime, day_summary, first_to_come, is_midnight_tonight
from service.delivery.spread_words import site_sky
from service.pages.whole_name import whole_name
from service.records.farms import FarmBundle
from service.records.letters import BlockLine, EveningLetter, PulseLine
from service.translations import Wording


@dataclass(frozen=True, slots=True)
class Opening:
    """One pulse: a valve is opened and closed."""

    opens: ClockTime
    closes: ClockTime
    block: str
    minutes: str
    is_next: bool
    is_over: bool


@dataclass(frozen=True, slots=True)
class NextAct:
    """The one thing to do next; without a time there is nothing to open or close."""

    over: str
    """The day, and what is done."""
    what: str
    """The block, or that there is nothing to do."""
    time: ClockTime | None = None
    block_id: str = ""
    beside: tuple[str, ...] = ()
    close: ClockTime | None = None
    facts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Run:
    line: BlockLine
    pulse: PulseLine


@dataclass(frozen=True, slots=True)
class DayView:
    """What the first column of the page needs."""

    act: NextAct
    openings: tuple[Opening, ...]
    summary: str
    """How many blocks get water, and how much."""
    sky: tuple[str, ...]


def day_view(
    letter: EveningLetter, bundle: FarmBundle, words: Wording, *, now: datetime, today: date
) -> DayView:
    """The day of a letter as it is read at an instant; ``today`` is the farm's civil day."""
    runs = sorted(
        (_Run(line, pulse) for line in letter.blocks for pulse in line.pulses),
        key=lambda run: (run.pulse.starts_at, run.line.name),
    )
    is_running = letter.day == today
    due = _next_run(runs, now) if letter.day >= today else None
    if due is not None:
        act = _act(due, runs, letter, bundle, words, now=now, today=today)
    else:
        act = _nothing_to_do(letter, words, today=today)
    return DayView(
        act=act,
        openings=tuple(
            Opening(
                opens=ClockTime.of(run.pulse.starts_at, letter.zone, words),
                closes=ClockTime.of(run.pulse.ends_at, letter.zone, words),
                block=whole_name(run.line.name),
                minutes=words.number(run.pulse.duration_min),
                is_next=run is due,
                is_over=is_running and run.pulse.ends_at <= now,
            )
            for run in runs
        ),
        summary=day_summary(letter, words),
        sky=_sky(letter, bundle, words),
    )


def _next_run(runs: Sequence[_Run], now: datetime) -> _Run | None:
    """The open valve that closes first, else the next one to open."""
    open_now = [run for run in runs if run.pulse.starts_at <= now < run.pulse.ends_at]
    if open_now:
        return min(open_now, key=lambda run: run.pulse.ends_at)
    return next((run for run in runs if run.pulse.starts_at > now), None)


def _act(
    run: _Run, runs: Sequence[_Run], letter: EveningLetter, bundle: FarmBundle, words: Wording,
    *, now: datetime, today: date,
) -> NextAct:  # fmt: skip
    pulse, zone = run.pulse, letter.zone
    name = whole_name(run.line.name)
    if pulse.starts_at <= now:
        following = [each for each in runs if each.pulse.starts_at == pulse.ends_at]
        return NextAct(
            over=words.gettext(
                "Open since {start}: close next", start=words.clock(pulse.starts_at, zone)
            ),
            what=name,
            time=ClockTime.of(pulse.ends_at, zone, words),
            block_id=run.line.block_id,
            facts=(
                words.gettext(
                    "Then open {block} at once.", block=whole_name(following[0].line.name)
                ),
            )
            if following
            else _facts(run, bundle, words),
        )
    is_first = run is runs[0]
    day = words.long_day(letter.day)
    is_midnight = is_midnight_tonight(pulse.starts_at, letter, today)
    return NextAct(
        over=words.gettext("{day}: open first", day=day)
        if is_first
        else words.gettext("{day}: open next", day=day),
        what=name,
        time=ClockTime.of(pulse.starts_at, zone, words),
        block_id=run.line.block_id,
        beside=(words.gettext("midnight tonight"),) if is_midnight else (),
        close=ClockTime.of(pulse.ends_at, zone, words),
        facts=_facts(run, bundle, words),
    )


def _facts(run: _Run, bundle: FarmBundle, words: Wording) -> tuple[str, ...]:
    """Supply, minutes and water of one opening."""
    line = run.line
    supply_of = {block.block_id: block.supply_id for block in bundle.blocks}
    names = {supply.supply_id: whole_name(supply.name) for supply in bundle.supplies}
    share = run.pulse.duration_min / line.planned_min if line.planned_min else 0.0
    facts = [
        names.get(supply_of.get(line.block_id, ""), ""),
        words.minutes(run.pulse.duration_min),
        words.volume(line.volume_l * share),
    ]
    return tuple(fact for fact in facts if fact)


def _nothing_to_do(letter: EveningLetter, words: Wording, *, today: date) -> NextAct:
    day = words.long_day(letter.day)
    if letter.day < today:
        return NextAct(over=day, what=words.gettext("This day is over."))
    if all(line.status == "no-weather" for line in letter.blocks):
        return NextAct(
            over=day,
            what=words.gettext("No plan"),
            facts=(words.gettext("The weather is not known, so nothing is planned."),),
        )
    if any(line.pulses for line in letter.blocks):
        return NextAct(over=day, what=words.gettext("All valves are closed for the day"))
    return NextAct(
        over=day,
        what=words.gettext("Keep all valves closed"),
        facts=first_to_come(letter, words),
    )


def _sky(letter: EveningLetter, bundle: FarmBundle, words: Wording) -> tuple[str, ...]:
    """Warmth, wind and rain of the day, and the next rain: a line for each site."""
    names = {site.site_id: whole_name(site.name) for site in bundle.sites}
    lines = []
    for site in letter.sites:
        if text := site_sky(site, words):
            name = names.get(site.site_id) or site.site_id
            lines.append(f"{name}: {text}" if len(letter.sites) > 1 else text)
    return tuple(dict.fromkeys(lines))
