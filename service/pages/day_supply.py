"""The day against its supplies, as the page draws it."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from markupsafe import Markup

from service.agronomy.records import WallWindow
from service.agronomy.weekly_hours import open_minutes, spans_of
from service.drawing.day_line import load_steps
from service.drawing.supply_day import Lane, SupplyDay, supply_day
from service.pages.whole_name import whole_name
from service.records.farms import BlockDefinition, FarmBundle, SupplyDefinition
from service.records.letters import BlockLine, EveningLetter
from service.translations import Wording
from service.unit_sizes import L_PER_H_PER_GPM, MINUTES_PER_DAY

MOST_LANES = 40
"""Most blocks drawn as separate lanes; for a larger farm only the draw on its supplies is shown."""
_HOURS = (0, 6, 12, 18, 24)


def supply_chart(letter: EveningLetter, bundle: FarmBundle, words: Wording) -> Markup | None:
    """Open valves and what they take together, by supply; None where nothing runs."""
    block_of = {block.block_id: block for block in bundle.blocks}
    running: dict[str, list[BlockLine]] = {}
    for line in letter.blocks:
        block = block_of.get(line.block_id)
        if line.pulses and block is not None:
            running.setdefault(block.supply_id, []).append(line)
    used = [supply for supply in bundle.supplies if supply.supply_id in running]
    if not used:
        return None
    has_lanes = sum(map(len, running.values())) <= MOST_LANES
    drawn = [
        _supply(supply, running[supply.supply_id], block_of, letter, words, has_lanes=has_lanes)
        for supply in used
    ]
    return supply_day(
        words.gettext("The day against the supply"),
        " ".join(f"{each.name}: {', '.join(each.notes)}." for each in drawn),
        drawn,
        hours=[_hour(hour, words) for hour in _HOURS],
        closed_word=words.gettext("closed"),
    )


def _supply(
    supply: SupplyDefinition, lines: Sequence[BlockLine], block_of: dict[str, BlockDefinition],
    letter: EveningLetter, words: Wording, *, has_lanes: bool,
) -> SupplyDay:  # fmt: skip
    spans = {line.block_id: _spans(line, letter.zone) for line in lines}
    steps = load_steps(
        [
            (begins, ends, block_of[line.block_id].flow_l_per_h)
            for line in lines
            for begins, ends in spans[line.block_id]
        ]
    )
    return SupplyDay(
        name=whole_name(supply.name),
        notes=(
            words.gettext("gives {flow}", flow=whole_flow(supply.flow_l_per_h, words)),
            words.gettext(
                "takes {flow} at most",
                flow=whole_flow(max(amount for _, amount in steps), words).partition(" ")[0],
            ),
        ),
        capacity=supply.flow_l_per_h,
        steps=steps,
        closed=_closed(supply, letter),
        lanes=tuple(
            Lane(whole_name(line.name), spans[line.block_id])
            for line in sorted(lines, key=lambda line: line.pulses[0].starts_at)
        )
        if has_lanes
        else (),
    )


def whole_flow(flow_l_per_h: float, words: Wording) -> str:
    """A flow without a decimal where that says enough."""
    if words.unit_system == "us":
        flow = flow_l_per_h / L_PER_H_PER_GPM
        return words.gettext("{flow} gal/min", flow=words.number(flow, 0 if flow >= 9.95 else 1))
    flow = flow_l_per_h / 1000.0
    return words.gettext("{flow} m³/h", flow=words.number(flow, 0 if flow >= 99.5 else 1))


def _spans(line: BlockLine, zone: str) -> tuple[tuple[float, float], ...]:
    """Minutes of the day's clock."""
    found = []
    for pulse in line.pulses:
        local = pulse.starts_at.astimezone(ZoneInfo(zone))
        begins = float(local.hour * 60 + local.minute)
        found.append((begins, begins + pulse.duration_min))
    return tuple(found)


def _closed(supply: SupplyDefinition, letter: EveningLetter) -> tuple[tuple[float, float], ...]:
    """The spans of the clock on the letter's day in which the supply may not run."""
    shared = supply.windows or (WallWindow(0, MINUTES_PER_DAY),)
    is_open = open_minutes(shared, shared, supply.weekly_no_water, letter.day.isoweekday())
    return tuple((float(begins), float(ends)) for begins, ends in spans_of(~is_open))


def _hour(hour: int, words: Wording) -> str:
    """A full hour in few letters."""
    if hour == 12 and words.unit_system == "us":
        return words.gettext("noon")
    return (
        words.wall_clock(hour * 60).replace(":00", "") if words.unit_system == "us" else f"{hour}"
    )
