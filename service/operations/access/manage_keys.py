"""Bearer keys: created, listed and revoked by the operator.

A key is ``rw_<8 letters>_<32 letters>``: the first part names it, the second has 190 random bits
and is known only to its holder. The service keeps its SHA-256, for which plain hashing is enough at
such a length, so a key that is lost cannot be shown again, only replaced. A holder may have two
live keys at a time: make the second, move the device over, revoke the first.
"""

from __future__ import annotations

import hashlib
import re
import secrets
import string
from collections.abc import Sequence
from datetime import datetime
from enum import StrEnum
from typing import Final

from service.database.session import UnitOfWorkFactory
from service.errors import Conflict, Fault, InputInvalid
from service.ports import Clock
from service.records.access import ApiKey
from service.records.audit import Subject

TOPIC: Final = "keys"
"""Change mark that makes all processes reload the keys."""
MOST_LIVE_KEYS: Final = 2
_LETTERS: Final = string.ascii_letters + string.digits
_FARM_ID: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")
_LONGEST_NAME: Final = 60


class Right(StrEnum):
    """What a key may be allowed to do; the words are those of its scopes."""

    PLAN_READ = "plan:read"
    """Read blocks, plans, programs and balances."""
    WATER_WRITE = "water:write"
    """Report runs, rain and soil readings, and pause blocks."""
    FARM_WRITE = "farm:write"
    """Create, change and retire farms and blocks."""
    ADVISER = "adviser"
    """Compare counties."""


def make_key(
    name: str,
    *,
    farm_id: str | None,
    scopes: Sequence[str],
    expires_at: datetime | None,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> tuple[ApiKey, str]:
    """Store a new key; returns it with the key itself, which cannot be shown again.

    Raises InputInvalid, or Conflict if the holder already has two live keys.
    """
    now = clock.now()
    _check(name, farm_id, scopes, expires_at, now=now)
    key_id = _random(8)
    token = f"rw_{key_id}_{_random(32)}"
    key = ApiKey(
        key_id=key_id,
        name=name,
        farm_id=farm_id,
        scopes=frozenset(scopes),
        sha256=hashlib.sha256(token.encode()).hexdigest(),
        created_at=now,
        expires_at=expires_at,
    )
    with unit_of_work(write=True) as unit:
        live = [
            each.key_id
            for each in unit.keys.list_keys()
            if each.is_live(now) and (each.name, each.farm_id) == (name, farm_id)
        ]
        if len(live) >= MOST_LIVE_KEYS:
            raise Conflict(
                f"{name!r} has {len(live)} live keys already ({', '.join(live)}); revoke one of"
                " them first, or give the new holder another name"
            )
        unit.keys.add(key)
        unit.audit.note(Subject.KEY, key_id, farm_id=farm_id, after=key)
        unit.marks.bump(TOPIC)
    return key, token


def list_keys(*, unit_of_work: UnitOfWorkFactory) -> list[ApiKey]:
    """All keys, revoked and expired ones too, by time of creation."""
    with unit_of_work(write=False) as unit:
        return unit.keys.list_keys()


def revoke_key(key_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> bool:
    """Revoke a key; False if it has already been revoked. Raises NotFound."""
    with unit_of_work(write=True) as unit:
        known = {each.key_id: each for each in unit.keys.list_keys()}
        is_new = unit.keys.revoke(key_id, at=clock.now())
        if is_new:
            before = known[key_id]
            unit.audit.note(Subject.KEY, key_id, farm_id=before.farm_id, before=before)
            unit.marks.bump(TOPIC)
    return is_new


def has_live_key(*, unit_of_work: UnitOfWorkFactory, clock: Clock) -> bool:
    """Whether any key is live now."""
    now = clock.now()
    return any(key.is_live(now) for key in list_keys(unit_of_work=unit_of_work))


def _random(length: int) -> str:
    return "".join(secrets.choice(_LETTERS) for _ in range(length))


def _check(
    name: str,
    farm_id: str | None,
    scopes: Sequence[str],
    expires_at: datetime | None,
    *,
    now: datetime,
) -> None:
    faults = []
    if not name.strip() or len(name) > _LONGEST_NAME or not name.isprintable():
        faults.append(
            Fault(
                "name", repr(name)[:80], f"1 to {_LONGEST_NAME} characters that say who or what"
                " holds the key",
            )
        )  # fmt: skip
    if farm_id is not None and not _FARM_ID.fullmatch(farm_id):
        faults.append(Fault("farm", repr(farm_id)[:80], "a farm's id such as 'hill-farm'"))
    known = [str(right) for right in Right]
    for scope in scopes:
        if scope not in known:
            faults.append(Fault("scope", repr(scope)[:80], f"one of {', '.join(known)}"))
    if not scopes:
        faults.append(Fault("scope", "none", f"one or more of {', '.join(known)}"))
    if expires_at is not None and expires_at <= now:
        faults.append(Fault("expires", expires_at.isoformat(), "a time to come"))
    if faults:
        raise InputInvalid("the key cannot be made", faults)
