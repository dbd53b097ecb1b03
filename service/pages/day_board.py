"""The whole farm as a board: each block's state, what is missing and what the plan puts back."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.reasoning import PlanFlag
from service.delivery.caution_words import degraded, flag_sentences
from service.delivery.day_order import BlockState, most_urgent_first, state_of, waiting_mm
from service.delivery.day_words import missing_words, state_says, why_it_waits
from service.delivery.injection_words import injection_words
from service.delivery.meter_words import meter_notes
from service.delivery.spread_words import news_of_hindsight, risk_words
from service.delivery.timer_words import timer_notes
from service.drawing.board import BoardBar, board_axis, board_bar
from service.pages.whole_name import whole_name
from service.records.letters import BlockLine, EveningLetter
from service.translations import Wording

USUAL_TRIGGER = 0.7
"""Where the word over the bars is put if no block says from where on it gets water."""
_SAID_FIRST = PlanFlag.FORECAST_MISSING | PlanFlag.FORECAST_OLD | PlanFlag.RAIN_NOT_REPORTED
"""What may change what somebody does in the field the next morning."""
_SAID_ELSEWHERE = PlanFlag.TIMER_CANNOT_KEEP_UP
"""By the notes on the timer, with what mends it."""


@dataclass(frozen=True, slots=True)
class BoardItem:
    """One block of the board."""

    block_id: str
    name: str
    state: BlockState
    amount: str
    says: str
    bar: Markup
    missing: str
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WeekRow:
    """The expected minutes of one block."""

    name: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WeekView:
    """Expected minutes by block and day."""

    days: tuple[str, ...]
    rows: tuple[WeekRow, ...]
    rain: tuple[str, ...]
    """Of each day; empty where it is not known or differs by place."""


@dataclass(frozen=True, slots=True)
class BoardView:
    """What the second column of the page needs, and the week."""

    items: tuple[BoardItem, ...]
    axis: Markup
    short: tuple[tuple[str, str], ...]
    """Name of each block that gets less than it needs, and what waits."""
    stale: str
    """That the weather behind the plans is old or missing; empty: it is not."""
    unplanned: tuple[str, ...]
    warnings: tuple[tuple[str, str], ...]
    """What several blocks have in common that asks for something, and which they are."""
    remarks: tuple[tuple[str, str], ...]
    """What is to be known of some plans, and of which."""
    week: WeekView


def board_view(letter: EveningLetter, words: Wording) -> BoardView:
    """The board of a day."""
    lines = most_urgent_first(letter.blocks)
    behind = [line for line in lines if line.flags & PlanFlag.CANNOT_KEEP_UP]
    said_at_block = PlanFlag.CANNOT_KEEP_UP if len(behind) == 1 else PlanFlag(0)
    states = {line.block_id: state_of(line) for line in lines}
    triggers = [share for line in lines if math.isfinite(share := _trigger(line))]
    return BoardView(
        items=tuple(
            _item(line, states[line.block_id], letter, words, said_at_block) for line in lines
        ),
        axis=board_axis(
            words.gettext("full"),
            words.gettext("water from here"),
            words.gettext("suffers"),
            trigger=max(set(triggers), key=triggers.count) if triggers else USUAL_TRIGGER,
        ),
        short=tuple(
            (whole_name(line.name), words.depth(waiting_mm(line)))
            for line in lines
            if states[line.block_id] is BlockState.SHORT
        ),
        stale=degraded(lines, words, of=_SAID_FIRST),
        unplanned=tuple(
            whole_name(line.name) for line in lines if states[line.block_id] is BlockState.UNKNOWN
        ),
        warnings=() if said_at_block else _remarks(lines, words, of=PlanFlag.CANNOT_KEEP_UP),
        remarks=_remarks(lines, words, of=~(PlanFlag.CANNOT_KEEP_UP | _SAID_ELSEWHERE)),
        week=_week(lines, letter, words),
    )


def _item(
    line: BlockLine,
    state: BlockState,
    letter: EveningLetter,
    words: Wording,
    said_at_block: PlanFlag,
) -> BoardItem:
    return BoardItem(
        block_id=line.block_id,
        name=whole_name(line.name),
        state=state,
        amount="?"
        if state is BlockState.UNKNOWN
        else words.minutes(line.planned_min)
        if line.pulses
        else "",
        says=state_says(line, state, letter, words),
        bar=board_bar(
            BoardBar(
                missing=_share(line, "planned_depletion_mm"),
                put_back=_share(line, "net_mm") if line.pulses else 0.0,
                trigger=_trigger(line),
            )
        ),
        missing=missing_words(line, words),
        why=(
            *why_it_waits(line, state, words),
            *risk_words(line, letter.day, words),
            *news_of_hindsight(line, letter.day - ONE_DAY, words),
            *injection_words(line, letter.zone, words),
            *timer_notes(line, words),
            *meter_notes(line, words),
            *(flag_sentences(said_at_block, words, None) if line.flags & said_at_block else ()),
        ),
    )


def _share(line: BlockLine, name: str) -> float:
    """A depth as a share of the readily available water; NaN where it is not known."""
    value, most = line.numbers.get(name), line.numbers.get("raw_mm")
    return math.nan if value is None or not most else value / most


def _trigger(line: BlockLine) -> float:
    return _share(line, "trigger_mm")


def _remarks(
    lines: Sequence[BlockLine], words: Wording, *, of: PlanFlag
) -> tuple[tuple[str, str], ...]:
    """Each remark once, with the blocks that it is about."""
    same: dict[tuple[int, date | None], list[str]] = {}
    for line in lines:
        flags = int(line.flags) & int(of)
        if flags:
            same.setdefault((flags, line.taken_full_day), []).append(whole_name(line.name))
    about: dict[str, list[str]] = {}
    for (flags, full_day), names in same.items():
        for text in flag_sentences(flags, words, full_day):
            about.setdefault(text, []).extend(names)
    return tuple(
        (text, words.gettext("all blocks") if len(names) == len(lines) else ", ".join(names))
        for text, names in about.items()
    )


def _week(lines: Sequence[BlockLine], letter: EveningLetter, words: Wording) -> WeekView:
    days = sorted({each.day for line in lines for each in line.outlook})
    rain = {each.day: each.rain_mm for site in letter.sites for each in site.sky}
    has_rain = len(letter.sites) == 1 and any(rain.get(day) is not None for day in days)
    return WeekView(
        days=tuple(words.weekday(day) for day in days),
        rows=tuple(
            WeekRow(whole_name(line.name), tuple(_cells(line, days, words)))
            for line in lines
            if line.outlook
        ),
        rain=tuple(_depth(rain.get(day), words) for day in days) if has_rain else (),
    )


def _depth(depth_mm: float | None, words: Wording) -> str:
    """A bare depth; none at all is a quiet 0."""
    return "0" if depth_mm == 0.0 else words.bare_depth(math.nan if depth_mm is None else depth_mm)


def _cells(line: BlockLine, days: Sequence[date], words: Wording) -> Iterator[str]:
    expected_min = {each.day: each.expected_min for each in line.outlook}
    for day in days:
        expected = expected_min.get(day)
        if not expected and line.pause is not None and day < line.pause.ends_local.date():
            yield "–"
        else:
            yield "?" if expected is None else words.number(expected)
