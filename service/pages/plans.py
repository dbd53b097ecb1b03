"""Pages of a farm's day: tomorrow's plan on a screen, and on a sheet for the pump house."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from markupsafe import Markup
from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.attributions import ATTRIBUTIONS
from service.delivery.evening_words import ANY_DAY, BlockWords, EveningWords, evening_words
from service.drawing.day_line import Load, Row, day_line, load_steps
from service.errors import NotFound, PlanNotFound
from service.operations.access.manage_keys import Right
from service.operations.mail.evening_mail import evening_letter
from service.operations.reading.read_farms import list_farms, local_day
from service.pages.visit import Visit, redirect
from service.records.farms import FarmBundle, FarmDefinition
from service.records.letters import BlockLine, EveningLetter
from service.translations import Wording
from service.unit_sizes import L_PER_GALLON

MOST_ROWS_DRAWN = 40
"""Most blocks drawn as separate lines; for a larger farm only the draw on its supplies is shown."""
MOST_PULSES_IN_ORDER = 18
"""Most pulses listed on the sheet; more are grouped by block, to fit on one page."""
MOST_BLOCKS_IN_FULL, MOST_PULSES_IN_FULL = 16, 64
"""Most lines in large type; more are set in small type, for the same reason."""


@dataclass(frozen=True, slots=True)
class BlockCard:
    """One block of the day: its line of the letter, and the text of that line."""

    line: BlockLine
    text: BlockWords

    @property
    def short_id(self) -> str:
        """Without the farm."""
        return self.line.block_id.rpartition(".")[2]


@dataclass(frozen=True, slots=True)
class PulseRow:
    """One pulse of the farm in order of time."""

    start: str
    end: str
    block: str
    minutes: str
    starts_at: datetime


def show_farms(visit: Visit) -> Response:
    """The farms that the visitor may see; a single one is opened directly."""
    visitor = visit.need(Right.PLAN_READ)
    farms = [
        farm
        for farm in list_farms(unit_of_work=visit.service.unit_of_work)
        if visitor.sees(farm.farm_id)
    ]
    if len(farms) == 1 and not visit.query:
        return redirect(f"/farms/{farms[0].farm_id}/tomorrow")
    return visit.show("farms.html", farms=farms)


def show_tomorrow(visit: Visit) -> Response:
    """The plan of a farm's day, tomorrow's unless another day is asked for."""
    farm = farm_of(visit)
    today = local_day(visit.service.clock.now(), farm.zone)
    letter = _letter(visit, farm, today)
    if letter is None:
        return visit.show(
            "no_plan.html",
            farm=farm,
            day=_asked_day(visit) or today + ONE_DAY,
            latest=_latest_day(visit, farm, today),
            issue_clock=visit.words.wall_clock(farm.issue_wall_min),
            first=visit.query.get("first", ""),
            may_plan=(
                visit.may(Right.FARM_WRITE)
                and _asked_day(visit) in {None, today + ONE_DAY}
                and _has_blocks(visit, farm, today + ONE_DAY)
            ),
        )
    bundle = _bundle(visit, farm, letter.day)
    content = evening_words(letter, visit.words, read_on=today)
    pulses = _pulses(letter, visit.words)
    return visit.show(
        "tomorrow.html",
        farm=farm,
        letter=letter,
        content=content,
        cards=_cards(letter, content),
        pulses=pulses,
        chart=_chart(letter, bundle, content, visit.words, pulses=pulses),
        has_bars=len(letter.blocks) <= MOST_ROWS_DRAWN,
        before=letter.day - ONE_DAY,
        after=letter.day + ONE_DAY,
        is_past=letter.day < today,
    )


def show_sheet(visit: Visit) -> Response:
    """The plan of a farm's day on one page of paper."""
    farm = farm_of(visit)
    letter = _letter(visit, farm, local_day(visit.service.clock.now(), farm.zone))
    if letter is None:
        raise NotFound("no plan of that day")
    content = evening_words(letter, visit.words, read_on=ANY_DAY)
    pulse_count = sum(len(line.pulses) for line in letter.blocks)
    return visit.show(
        "sheet.html",
        is_long=max(pulse_count, len(letter.blocks)) > MOST_PULSES_IN_ORDER,
        is_dense=len(letter.blocks) > MOST_BLOCKS_IN_FULL or pulse_count > MOST_PULSES_IN_FULL,
        farm=farm,
        letter=letter,
        content=content,
        cards=_cards(letter, content),
        pulses=_pulses(letter, visit.words),
    )


def farm_of(visit: Visit, right: Right = Right.PLAN_READ) -> FarmDefinition:
    """The farm in the address, if the visitor may see it; its units become the page's."""
    farm_id = visit.params.get("farm_id") or visit.params["block_id"].partition(".")[0]
    visit.need(right, farm_id)
    (farm,) = list_farms([farm_id], unit_of_work=visit.service.unit_of_work)
    visit.unit_system = farm.unit_system
    return farm


def flow_text(flow_l_per_h: float, words: Wording) -> str:
    """A flow with the unit of the reader."""
    if words.unit_system == "us":
        return words.gettext(
            "{flow} gal/min", flow=words.number(flow_l_per_h / L_PER_GALLON / 60.0, 1)
        )
    return words.gettext("{flow} m³/h", flow=words.number(flow_l_per_h / 1000.0, 1))


def parsed_day(text: str) -> date | None:
    """A day from an address."""
    try:
        return date.fromisoformat(text) if len(text) == 10 else None
    except ValueError:
        return None


def _asked_day(visit: Visit) -> date | None:
    return parsed_day(visit.query.get("date", ""))


def _letter(visit: Visit, farm: FarmDefinition, today: date) -> EveningLetter | None:
    asked = _asked_day(visit)
    for day in (asked,) if asked else (today + ONE_DAY, today):
        try:
            return evening_letter(
                farm,
                day,
                unit_of_work=visit.service.unit_of_work,
                attributions=ATTRIBUTIONS,
            )
        except PlanNotFound:
            continue
    return None


def _latest_day(visit: Visit, farm: FarmDefinition, today: date) -> date | None:
    """The last day that anything was planned for, by the farm's first block."""
    with visit.service.unit_of_work(write=False) as unit:
        blocks = unit.blocks.list_blocks(farm_id=farm.farm_id, day=today + ONE_DAY)
        return unit.plans.find_latest_day(blocks[0].block_id) if blocks else None


def _has_blocks(visit: Visit, farm: FarmDefinition, day: date) -> bool:
    with visit.service.unit_of_work(write=False) as unit:
        return bool(unit.blocks.list_blocks(farm_id=farm.farm_id, day=day))


def _bundle(visit: Visit, farm: FarmDefinition, day: date) -> FarmBundle:
    with visit.service.unit_of_work(write=False) as unit:
        return unit.blocks.get_bundle(farm.farm_id, day=day)


def _cards(letter: EveningLetter, content: EveningWords) -> list[BlockCard]:
    return [
        BlockCard(line, words) for line, words in zip(letter.blocks, content.blocks, strict=True)
    ]


def _pulses(letter: EveningLetter, words: Wording) -> list[PulseRow]:
    rows = [
        PulseRow(
            start=words.clock(pulse.starts_at, letter.zone),
            end=words.clock(pulse.ends_at, letter.zone),
            block=block.name,
            minutes=words.minutes(pulse.duration_min),
            starts_at=pulse.starts_at,
        )
        for block in letter.blocks
        for pulse in block.pulses
    ]
    return sorted(rows, key=lambda row: (row.starts_at, row.block))


def _chart(
    letter: EveningLetter,
    bundle: FarmBundle,
    content: EveningWords,
    words: Wording,
    *,
    pulses: list[PulseRow],
) -> Markup:
    block_of = {block.block_id: block for block in bundle.blocks}
    rows = []
    runs: dict[str, list[tuple[float, float, float]]] = {}
    for line in letter.blocks:
        spans = []
        for pulse in line.pulses:
            starts = _clock_min(pulse.starts_at, letter.zone)
            spans.append((starts, starts + pulse.duration_min))
            block = block_of.get(line.block_id)
            if block is not None:
                runs.setdefault(block.supply_id, []).append(
                    (starts, starts + pulse.duration_min, block.flow_l_per_h)
                )
        if spans:
            rows.append(Row(line.name, tuple(spans), words.minutes(line.planned_min)))
    loads = [
        Load(
            label=supply.name,
            capacity=supply.flow_l_per_h,
            capacity_label=words.gettext(
                "capacity {flow}", flow=flow_text(supply.flow_l_per_h, words)
            ),
            steps=load_steps(runs[supply.supply_id]),
        )
        for supply in bundle.supplies
        if supply.supply_id in runs
    ]
    midnight = datetime.combine(letter.day, datetime.min.time(), tzinfo=ZoneInfo(letter.zone))
    # Midnight needs no label, and there is no room for one at the edge of a phone.
    hours = ["", *(words.clock(midnight.replace(hour=hour), letter.zone) for hour in (6, 12, 18))]
    return day_line(
        words.gettext("When each block runs on {day}", day=content.day),
        "; ".join(f"{row.start} – {row.end} {row.block}" for row in pulses[:MOST_ROWS_DRAWN])
        or content.headline,
        rows if len(letter.blocks) <= MOST_ROWS_DRAWN else [],
        loads,
        hours,
    )


def _clock_min(instant: datetime, zone: str) -> float:
    local = instant.astimezone(ZoneInfo(zone))
    return local.hour * 60.0 + local.minute
