"""The page that asks what would change in the coming week; its address is the question."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup
from starlette.responses import Response

from service.delivery.plain_text import reading_order
from service.drawing.week_pair import WeekPair, week_pair
from service.errors import Conflict, Fault, InputInvalid
from service.operations.reading.read_farms import local_day
from service.operations.review.what_if import what_if
from service.pages.blocks_by_supply import blocks_by_supply
from service.pages.plans import bundle_of, farm_of, flow_text
from service.pages.visit import Visit, faults_by_field
from service.records.farms import FarmBundle, FarmDefinition
from service.records.what_if import (
    BlockAhead,
    Change,
    ChangeTexts,
    ComingWeek,
    DayAhead,
    WeekAhead,
)
from service.translations import Wording
from service.translations.catalogue import marked
from service.unit_sizes import MM_PER_INCH

FIELDS = (
    "supply", "block", "pump_down", "flow", "windows", "emitter_flow", "emitter_spacing",
    "skip_tomorrow", "rain",
)  # fmt: skip
MOST_PUMP_DAYS = 7
DRAWN_BLOCKS = 8
"""[CHOICE] Blocks that are drawn and listed day by day; a page of forty stays small."""
EXAMPLES = {
    "us": {"flow": "20 gpm", "emitter_flow": "1 gph", "emitter_spacing": "12 in", "rain": "0.5 in"},
    "si": {"flow": "4 m3/h", "emitter_flow": "4 L/h", "emitter_spacing": "0.3 m", "rain": "12 mm"},
}
_PUMP_DAYS = marked("whole days from 1 to 7")


@dataclass(frozen=True, slots=True)
class BlockPart:
    """A block on which the change shows."""

    block_id: str
    name: str
    chart: Markup
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """What the page says of the week."""

    asked: str
    finding: str
    cautions: tuple[str, ...]
    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, ...], ...]
    parts: tuple[BlockPart, ...]
    undrawn: int
    others: int


def show_what_if(visit: Visit) -> Response:
    """The form, and the week twice once something is asked."""
    farm = farm_of(visit)
    bundle = bundle_of(visit, farm, local_day(visit.service.clock.now(), farm.zone))
    faults: dict[str, Fault] = {}
    answer, is_busy = None, False
    if any(visit.query.get(name) for name in FIELDS[2:]):
        try:
            change = _change(visit)
            answer = _answer(_asked(visit, farm, change), bundle, visit.words)
        except InputInvalid as error:
            faults = faults_by_field(error)
        except Conflict:
            is_busy = True
    return visit.show(
        "what_if.html",
        status=422 if faults else 200,
        farm=farm,
        answer=answer,
        is_ahead=is_busy,
        faults=faults,
        form=visit.query,
        known=FIELDS,
        examples=EXAMPLES[visit.words.unit_system],
        supplies=_choices({each.supply_id: each.name for each in bundle.supplies}, visit.words),
        blocks=[
            (name, [(each.block_id, each.name) for each in blocks])
            for name, blocks in blocks_by_supply(bundle)
        ],
        pump_days=[
            ("", visit.words.gettext("on no day")),
            *(
                (str(days), visit.words.ngettext("{count} day", "{count} days", days))
                for days in range(1, MOST_PUMP_DAYS + 1)
            ),
        ],
    )


def _choices(names: Mapping[str, str], words: Wording) -> list[tuple[str, str]]:
    """What a question may be about: all, or one."""
    named = sorted(names.items(), key=lambda each: reading_order(each[1]))
    return [("", words.gettext("all")), *named]


def _change(visit: Visit) -> Change:
    """What the address asks; raises InputInvalid."""
    query = visit.query
    texts = ChangeTexts(
        flow=query.get("flow"),
        windows=query.get("windows"),
        emitter_flow=query.get("emitter_flow"),
        emitter_spacing=query.get("emitter_spacing"),
        rain=query.get("rain"),
    )
    return replace(
        visit.service.farm_format.change(texts),
        supply_id=query.get("supply") or None,
        block_id=query.get("block") or None,
        pump_down_days_count=_pump_days(query),
        skips_tomorrow=bool(query.get("skip_tomorrow")),
    )


def _pump_days(query: Mapping[str, str]) -> int | None:
    text = query.get("pump_down", "")
    if not text:
        return None
    if text.isascii() and text.isdecimal() and 1 <= int(text[:3]) <= MOST_PUMP_DAYS:
        return int(text)
    fault = Fault("pump_down", repr(text)[:40], _PUMP_DAYS)
    raise InputInvalid("the question cannot be answered", [fault])


def _asked(visit: Visit, farm: FarmDefinition, change: Change) -> ComingWeek:
    return what_if(
        farm.farm_id,
        change,
        unit_of_work=visit.service.unit_of_work,
        clock=visit.service.clock,
        source_order=visit.service.source_order,
    )


# --- what is said --------------------------------------------------------------------------------


def _answer(week: ComingWeek, bundle: FarmBundle, words: Wording) -> Answer:
    changed = sorted((block for block in week.blocks if block.differs), key=_least_hurt_last)
    shown = changed[:DRAWN_BLOCKS]
    return Answer(
        asked=words.listed(_in_words(week.change, bundle, words)),
        finding=_finding(week, changed, words),
        cautions=tuple(_cautions(week, words)),
        columns=(
            (words.gettext("Block"), ""),
            (words.gettext("Minutes"), "n"),
            (words.gettext("Days short"), "n"),
            (words.gettext("Water"), "n"),
            (words.gettext("Drained, {unit}", unit=words.depth_unit), "n"),
        ),
        rows=tuple(_sums(block, words) for block in changed),
        parts=tuple(_part(block, place, words) for place, block in enumerate(shown)),
        undrawn=len(changed) - len(shown),
        others=len(week.blocks) - len(changed),
    )


def _least_hurt_last(block: BlockAhead) -> tuple[float, ...]:
    """Blocks that come short first, then those that dry most."""
    drier_mm = (
        after.depletion_end_mm - before.depletion_end_mm
        for before, after in zip(block.now.days, block.changed.days, strict=True)
    )
    return (
        block.now.short_days_count - block.changed.short_days_count,
        -max((each for each in drier_mm if math.isfinite(each)), default=0.0),
    )


def _in_words(change: Change, bundle: FarmBundle, words: Wording) -> Iterator[str]:
    """The parts of a question."""
    names = {each.supply_id: each.name for each in bundle.supplies}
    names |= {each.block_id: each.name for each in bundle.blocks}
    if change.block_id is not None:
        yield names[change.block_id]
    elif change.supply_id is not None:
        yield names[change.supply_id]
    if change.pump_down_days_count:
        yield words.ngettext(
            "no water from the supply for {count} day",
            "no water from the supply for {count} days",
            change.pump_down_days_count,
        )
    if change.supply_flow_l_per_h is not None:
        flow = flow_text(change.supply_flow_l_per_h, words)
        yield words.gettext("the supply gives {flow}", flow=flow)
    if change.supply_flow_fraction is not None:
        share = words.percent(change.supply_flow_fraction)
        yield words.gettext("the supply gives {share} of its flow", share=share)
    if change.windows:
        spans = words.listed(
            f"{words.wall_clock(each.opens_wall_min)}–{words.wall_clock(each.closes_wall_min)}"
            for each in change.windows
        )
        yield words.gettext("hours {spans}", spans=spans)
    if change.emitter_flow_l_per_h is not None or change.emitter_spacing_m is not None:
        yield words.gettext("other emitters")
    if change.skips_tomorrow:
        yield words.gettext("no water tomorrow")
    if change.rain_mm is not None:
        yield words.gettext("{depth} of rain tomorrow", depth=words.depth(change.rain_mm))


def _finding(week: ComingWeek, changed: Sequence[BlockAhead], words: Wording) -> str:
    """The answer in a sentence."""
    if not changed:
        return words.gettext("Nothing changes in the coming week.")
    worse = sum(
        block.changed.short_days_count > block.now.short_days_count for block in week.blocks
    )
    if worse:
        return words.ngettext(
            "{count} block runs short on more days than now.",
            "{count} blocks run short on more days than now.",
            worse,
        )
    better = sum(
        block.changed.short_days_count < block.now.short_days_count for block in week.blocks
    )
    if better:
        return words.ngettext(
            "{count} block runs short on fewer days than now.",
            "{count} blocks run short on fewer days than now.",
            better,
        )
    return words.gettext("No block runs short on more days than now.")


def _cautions(week: ComingWeek, words: Wording) -> Iterator[str]:
    for block in week.blocks:
        if block.changed.exceeds_supply and not block.now.exceeds_supply:
            yield words.gettext(
                "{block} would take more than its supply gives, and could not run at all.",
                block=block.name,
            )


# --- numbers -------------------------------------------------------------------------------------


def _or_unknown(value: float, write: Callable[[float], str]) -> str:
    return write(value) if math.isfinite(value) else "?"


def _sums(block: BlockAhead, words: Wording) -> tuple[str, ...]:
    """A block's week in sums, now and with the change."""

    def pair(read: Callable[[WeekAhead], float], write: Callable[[float], str]) -> str:
        shown = (_or_unknown(read(each), write) for each in (block.now, block.changed))
        return " → ".join(dict.fromkeys(shown))

    return (
        block.name,
        pair(lambda week: week.expected_min, words.number),
        pair(lambda week: float(week.short_days_count), words.number),
        pair(lambda week: week.volume_l, words.volume),
        pair(lambda week: week.drainage_mm, words.bare_depth),
    )


def _part(block: BlockAhead, place: int, words: Wording) -> BlockPart:
    now, changed = block.now.days, block.changed.days
    names = [words.weekday(day.day) for day in now]
    return BlockPart(
        block_id=block.block_id,
        name=block.name,
        chart=_chart(block, place, words),
        headings=tuple(names),
        rows=(
            (words.gettext("Minutes, now"), *_minutes(now, words)),
            (words.gettext("Minutes, changed"), *_minutes(changed, words)),
            (words.gettext("Missing, now"), *_depths(now, "depletion_end_mm", words)),
            (words.gettext("Missing, changed"), *_depths(changed, "depletion_end_mm", words)),
            (words.gettext("Water from"), *_depths(changed, "trigger_mm", words)),
            (words.gettext("Suffers from"), *_depths(changed, "raw_mm", words)),
        ),
    )


def _minutes(days: Sequence[DayAhead], words: Wording) -> Iterator[str]:
    return (_or_unknown(day.expected_min, words.number) for day in days)


def _depths(days: Sequence[DayAhead], name: str, words: Wording) -> Iterator[str]:
    return (_or_unknown(getattr(day, name), words.bare_depth) for day in days)


def _chart(block: BlockAhead, place: int, words: Wording) -> Markup:
    scale = 1.0 / MM_PER_INCH if words.unit_system == "us" else 1.0
    now, changed = block.now.days, block.changed.days

    def column(days: Sequence[DayAhead], name: str) -> list[float]:
        return [getattr(day, name) * scale for day in days]

    last = changed[-1]
    return week_pair(
        words.gettext("The coming week of {block}, twice", block=block.name),
        words.gettext(
            "Water missing at the end of {day}: {now} as planned, {changed} with the change.",
            day=words.short_day(last.day),
            now=_or_unknown(now[-1].depletion_end_mm, words.depth),
            changed=_or_unknown(last.depletion_end_mm, words.depth),
        ),
        WeekPair(
            days=[words.weekday(day.day) for day in now],
            missing_now=column(now, "depletion_end_mm"),
            missing_changed=column(changed, "depletion_end_mm"),
            trigger=column(changed, "trigger_mm"),
            suffers=column(changed, "raw_mm"),
            minutes_now=[day.expected_min for day in now],
            minutes_changed=[day.expected_min for day in changed],
        ),
        missing=words.gettext("Missing from the root zone, {unit}", unit=words.depth_unit),
        minutes=words.gettext("Minutes"),
        name=f"week-{place}",
    )
