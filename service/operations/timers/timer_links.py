"""Saying "I set it" from a mail: a link that shows one program, and one button that notes it.

A mail's secret for its timers is 128 random bits, and the token of its unsubscribe link is derived
from it one way: mail services read and follow the latter, which therefore sets nothing. Only the
digest of the derived token is stored. Looking changes nothing, because scanners follow links;
noting a program twice is the same as once. A link ends when a newer program is offered for its
timer, a week after its program's first day, or when its reader no longer belongs to the farm.
"""

from __future__ import annotations

import base64
import enum
import hashlib
from dataclasses import dataclass
from datetime import date, datetime

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound
from service.operations.access.unsubscribe import LONGEST_TOKEN, TOKEN_BYTES, token_digest
from service.operations.evening.replan_after import Replanning
from service.operations.reading.read_farms import today_at_block
from service.operations.timers.set_timer import set_timer, timers_of
from service.ports import Clock
from service.records.mail import Person
from service.records.timers import OfferedProgram, TimerProgram

LONGEST_REPORTER = 60


class Standing(enum.Enum):
    """What can still be said of a program."""

    TO_SET = "to be set"
    WAS_SET = "set already"
    REPLACED = "another one has been offered since, or it is too old"


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkedProgram:
    """The program behind a link."""

    reader: Person
    farm_id: str
    block_name: str
    program: TimerProgram
    standing: Standing
    today: date
    set_from: date | None
    """First day that it runs, once it was set."""


def unsubscribe_token_of(timer_token: str) -> str:
    """The token by which the same mail is unsubscribed from; it does not give the other back."""
    digest = hashlib.sha256(b"unsubscribe:" + timer_token.encode()).digest()
    return base64.urlsafe_b64encode(digest[:TOKEN_BYTES]).rstrip(b"=").decode()


def find_linked_program(
    token: str, program_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> LinkedProgram:
    """What a link would note; raises NotFound. Changes nothing."""
    with unit_of_work(write=False) as unit:
        return _found(unit, token, program_id, clock.now())[0]


def set_linked_program(
    token: str,
    program_id: str,
    *,
    runs_today: bool,
    unit_of_work: UnitOfWorkFactory,
    replanning: Replanning,
) -> LinkedProgram:
    """Note that the program was set, if it is still the one to set; raises NotFound.

    runs_today: it runs today already; otherwise from tomorrow on.
    """
    now = replanning.clock.now()
    with unit_of_work(write=True) as unit:
        found, offered = _found(unit, token, program_id, now)
        if found.standing is not Standing.TO_SET:
            return found
        set_timer(
            unit,
            offered.block_id,
            program_id,
            set_from=found.today if runs_today else found.today + ONE_DAY,
            reporter=f"mail {found.reader.name}"[:LONGEST_REPORTER],
            replanning=replanning,
        )
        return _found(unit, token, program_id, now)[0]


def _found(
    unit: UnitOfWork, token: str, program_id: str, now: datetime
) -> tuple[LinkedProgram, OfferedProgram]:
    digest = token_digest(unsubscribe_token_of(token[:LONGEST_TOKEN]))
    mailed = unit.outbox.find_by_token(digest)
    offered = unit.timers.find_program(program_id[:LONGEST_TOKEN])
    if mailed is None or offered is None:
        raise NotFound("this link is not known; it may be too old")
    reader, today = mailed[0], today_at_block(unit, offered.block_id, now)
    block = unit.blocks.get_block(offered.block_id, day=today + ONE_DAY)
    if reader.farm_id != block.farm_id or reader.person.role != "grower":
        raise NotFound("this link is not known; it may be too old")
    return (
        LinkedProgram(
            reader=reader.person,
            farm_id=block.farm_id,
            block_name=block.name,
            program=offered.program,
            standing=_standing(
                offered, [state.to_set for state in timers_of(unit, [block], today=today)]
            ),
            today=today,
            set_from=offered.set_from,
        ),
        offered,
    )


def _standing(offered: OfferedProgram, to_set: list[OfferedProgram | None]) -> Standing:
    """``to_set``: what the block's timer should be set to; empty where it has no timer any more."""
    if offered.set_from is not None:
        return Standing.WAS_SET
    is_newest = any(each is not None and each.program_id == offered.program_id for each in to_set)
    return Standing.TO_SET if is_newest else Standing.REPLACED
