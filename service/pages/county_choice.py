"""What counties are compared by: a week, and a crop on a soil or else a block of the reader's."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from service.agronomy.crop_table import CROPS
from service.agronomy.soil import TEXTURE_KEYS
from service.errors import NotFound
from service.operations.access.manage_keys import Right
from service.operations.farms.change_farms import get_block_now
from service.operations.reading.read_farms import blocks_in_force
from service.operations.review.reference_block import (
    ReferenceBlock,
    ReferenceSystem,
    reference_block,
)
from service.pages.visit import NotSignedIn, Visit
from service.records.farms import BlockDefinition, SiteDefinition
from service.translations import Wording
from service.translations.wording import US
from service.unit_sizes import L_PER_GALLON, M_PER_FOOT, M_PER_INCH

DAYS_PER_WEEK = 7
DEFAULT_CROP = "grape-wine"
DEFAULT_TEXTURE = "loam"
BY_BLOCK = "block"
MOST_BLOCKS = 200
"""Blocks offered by name; in a larger region a block is entered by id."""
SEASON_FIELDS = {
    "/season": "season_start",
    "/season/start": "season_start",
    "/season/lengths": "stage_days",
}
_WEEKS_AHEAD, _WEEKS_BEHIND = 1, 26
_WEEK = re.compile(r"[0-9]{4}-W[0-9]{2}")


@dataclass(frozen=True, slots=True)
class Choice:
    """What a reader chose; either the block counts or crop, soil and season, never both."""

    block_id: str
    """Empty: none is chosen."""
    is_by_block: bool
    blocks: list[tuple[str, str]] | None
    """Blocks to choose from; empty if the reader may read none, None if there are too many."""
    crop: str
    texture: str
    season_start: str
    stage_days: str

    def query(self, monday: date) -> dict[str, str]:
        """This choice in an address, for another week if need be."""
        chosen = (
            {"by": BY_BLOCK, "block": self.block_id}
            if self.is_by_block
            else {
                "crop": self.crop,
                "texture": self.texture,
                "season_start": self.season_start,
                "stage_days": self.stage_days,
            }
        )
        return {"week": week_name(monday), **{name: text for name, text in chosen.items() if text}}


@dataclass(frozen=True, slots=True)
class Reference:
    """The block that is put into each county, and what the page says of it."""

    block: BlockDefinition
    name: str
    """In words: a crop on a soil, or a block's name."""
    hours_text: str
    """What the hours hold for."""
    season_origin: str
    """Of a season that was not asked for; empty: it was, or it is a block's own."""


def read_choice(visit: Visit, on: date) -> Choice:
    """What the address asks for; raises NotSignedIn or NotFound for a block that is not theirs."""
    query = visit.query
    block_id = query.get("block", "")
    if block_id:
        # Somebody who only compares counties, or is not signed in, sees no farm.
        if visit.visitor is None:
            raise NotSignedIn(visit.here)
        visit.need(Right.PLAN_READ, block_id.partition(".")[0])
    blocks = _blocks(visit, on)
    is_by_block = bool(block_id) or (query.get("by") == BY_BLOCK and blocks != [])
    if is_by_block and not block_id and blocks:
        block_id = blocks[0][0]
    return Choice(
        block_id=block_id,
        is_by_block=is_by_block,
        blocks=blocks,
        crop=query.get("crop", DEFAULT_CROP),
        texture=query.get("texture", DEFAULT_TEXTURE),
        season_start=query.get("season_start", ""),
        stage_days=query.get("stage_days", ""),
    )


def reference_of(choice: Choice, visit: Visit, site: SiteDefinition) -> Reference:
    """The block chosen, or one made of the crop; raises InputInvalid for an impossible season."""
    words = visit.words
    if choice.is_by_block:
        # As of today at its farm, where the date may differ from that of the counties.
        block = get_block_now(
            choice.block_id, unit_of_work=visit.service.unit_of_work, clock=visit.service.clock
        )
        return Reference(
            block,
            block.name,
            words.gettext("Hours are for {block} with its own drip lines.", block=block.name),
            "",
        )
    if choice.crop not in CROPS or choice.texture not in TEXTURE_KEYS:
        raise NotFound("there is no such crop or soil")
    made = reference_block(
        ReferenceSystem(
            crop=choice.crop,
            texture=choice.texture.replace("-", " "),
            season_start=choice.season_start or None,
            stage_lengths_day=_stage_days(choice.stage_days) if choice.stage_days else None,
        ),
        site,
        farm_format=visit.service.farm_format,
    )
    return _made_reference(made, choice, words)


def _made_reference(made: ReferenceBlock, choice: Choice, words: Wording) -> Reference:
    name = words.gettext(
        "{crop} on {soil}",
        crop=words.gettext(CROPS[choice.crop].name),
        soil=words.gettext(choice.texture).replace("-", " "),
    )
    return Reference(
        made.block,
        name,
        _hours_text(made.block, words),
        made.season_origin if made.is_season_estimated else "",
    )


def _stage_days(text: str) -> list[float | str]:
    """Four numbers in a row; anything that is not a number is left for the reader to refuse."""
    return [float(part) if part.isdecimal() else part for part in re.split(r"[,;\s]+", text)]


def _hours_text(block: BlockDefinition, words: Wording) -> str:
    is_us = words.unit_system == US
    return words.gettext(
        "Hours are for the reference block: rows {row} apart, one drip line per row, a {flow} "
        "emitter every {gap}.",
        row=f"{words.number(block.row_spacing_m / M_PER_FOOT)} {words.unit('ft')}"
        if is_us
        else f"{words.number(block.row_spacing_m, 2)} m",
        flow=f"{words.number(block.emitter_flow_l_per_h / L_PER_GALLON, 1)} {words.unit('gph')}"
        if is_us
        else f"{words.number(block.emitter_flow_l_per_h, 1)} L/h",
        gap=f"{words.number(block.emitter_spacing_m / M_PER_INCH)} {words.unit('in')}"
        if is_us
        else f"{words.number(block.emitter_spacing_m * 100.0)} cm",
    )


def _blocks(visit: Visit, on: date) -> list[tuple[str, str]] | None:
    if not visit.may(Right.PLAN_READ) or visit.visitor is None:
        return []
    farm_ids = visit.visitor.farm_ids
    with visit.service.unit_of_work(write=False) as unit:
        keys = unit.blocks.farm_keys(None if farm_ids is None else sorted(farm_ids))
        farm_keys = np.array(list(keys.values()), dtype=np.int64)
        if sum(unit.blocks.count_blocks(farm_keys, day=on).values()) > MOST_BLOCKS:
            return None
        return [
            (block.block_id, block.name)
            for block in blocks_in_force(
                unit, visit.service.clock.now(), farm_ids=None if farm_ids is None else keys
            )
        ]


# --- weeks ---------------------------------------------------------------------------------------


def monday_of(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())


def sunday_of(monday: date) -> date:
    """The last day of the week."""
    return monday + timedelta(days=DAYS_PER_WEEK - 1)


def week_name(monday: date) -> str:
    """A week as ISO 8601 names it."""
    year, number, _ = monday.isocalendar()
    return f"{year}-W{number:02d}"


def chosen_monday(visit: Visit, on: date) -> date:
    """The Monday of the week that the address asks for; else of this week."""
    text = visit.query.get("week", "")
    if _WEEK.fullmatch(text):
        try:
            return date.fromisocalendar(int(text[:4]), int(text[6:]), 1)
        except ValueError:
            pass
    return monday_of(on)


def week_choices(on: date, chosen: date, words: Wording) -> list[tuple[str, str]]:
    """Weeks to choose from, the latest first."""
    this = monday_of(on)
    near = {
        this + timedelta(days=DAYS_PER_WEEK * step)
        for step in range(-_WEEKS_BEHIND, _WEEKS_AHEAD + 1)
    }
    return [
        (week_name(each), _short_week(each, words))
        for each in sorted({*near, chosen}, reverse=True)
    ]


def crops_in_groups(crops: list[tuple[str, str]]) -> list[tuple[str, list[tuple[str, str]]]]:
    """Crops by what stands before the first comma of their names, each with what follows it.

    >>> crops_in_groups([("a", "Apple, bare"), ("b", "Apple, cover"), ("k", "Kiwi")])
    [('Apple', [('a', 'bare'), ('b', 'cover')]), ('Kiwi', [('k', '')])]
    """
    groups: dict[str, list[tuple[str, str]]] = {}
    for key, name in crops:
        group, _, rest = name.partition(", ")
        groups.setdefault(group, []).append((key, rest))
    return list(groups.items())


def _short_week(monday: date, words: Wording) -> str:
    """A week without its weekdays, which are always the same: a field of a phone holds it whole."""
    first, last = (words.yearly_day(day.month, day.day) for day in (monday, sunday_of(monday)))
    return words.gettext("{first} to {last}", first=first, last=last)
