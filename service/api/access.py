"""Access control: bearer keys, their scopes, and the farm each key is bound to.

Nothing under ``/v1`` is answered without a key, with one exception: a server that listens on this
machine alone, in whose database no key was ever stored, is open to requests of this machine
(``own_machine.py``), so that the first steps need none. The first key that is stored closes it,
within a second and in all processes; that it is revoked later does not open it again.

A key opens what its scopes name, on the farm it is bound to. Anything that belongs to another farm
is reported as not found. Keys are compared by their SHA-256, which is all that is stored; a process
keeps them in memory until the change marks move.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated, Any, Final

import numpy as np
from fastapi import Depends, Request
from fastapi.concurrency import run_in_threadpool
from starlette.routing import BaseRoute
from starlette.types import ASGIApp, Receive, Scope, Send

from service.api.key_ring import KeyRing
from service.api.latest_times import LatestTimes
from service.api.limits import Limits, OverLimit, address_of
from service.api.news import News
from service.api.openapi_document import SECRET_LINKS
from service.api.own_machine import is_from_this_machine
from service.api.problem_types import (
    FORBIDDEN,
    TOO_MANY_REQUESTS,
    UNAUTHORISED,
    ProblemType,
)
from service.api.problems import Refused, answer_own_error, problem_response
from service.bootstrap import Service
from service.database.acting import acting_as
from service.errors import NotFound, RillwrightError
from service.logs import get_logger
from service.operations.access.manage_keys import Right
from service.records.access import ApiKey
from service.records.audit import Actor, ActorKind, Entrance

NOTE_USES_EVERY: Final = timedelta(minutes=1)
"""How often the last use of keys is written, all keys together."""
REALM: Final = 'Bearer realm="rillwright"'
TOOLS_PATH: Final = "/mcp"
"""Where tools for agents are served, if they are."""
_GUARDED_PATHS: Final = ("/v1/", "/metrics", TOOLS_PATH)
_log = get_logger(__name__)


@dataclass(frozen=True, slots=True)
class Caller:
    """The caller of a request."""

    key_id: str
    name: str
    farm_id: str | None
    """None: the whole region."""
    rights: frozenset[str]

    @property
    def actor(self) -> Actor:
        """Whose changes those of a request are."""
        kind = ActorKind.KEY if self.key_id else ActorKind.OPEN
        farm_ids = None if self.farm_id is None else frozenset({self.farm_id})
        return Actor(kind, Entrance.API, self.key_id, self.name, farm_ids)

    @property
    def tenant(self) -> str:
        """Callers with the same tenant share idempotency keys."""
        return "" if self.farm_id is None else self.farm_id

    def may_see(self, farm_id: str) -> bool:
        """Whether the caller may see a farm."""
        return self.farm_id is None or self.farm_id == farm_id

    def farm_asked(self, farm_id: str | None) -> str | None:
        """The farm to list: the one asked for, else the caller's own; raises NotFound."""
        if farm_id is None:
            return self.farm_id
        if not self.may_see(farm_id):
            raise NotFound(f"farm {farm_id!r}: there is no such farm")
        return farm_id


OPEN_CALLER: Final = Caller("", "this machine", None, frozenset(Right))


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a request was refused."""

    kind: ProblemType
    headers: Mapping[str, str]


class Gate:
    """Identifies callers by their keys, which are at most a second old."""

    def __init__(self, service: Service, news: News, *, is_loopback: bool) -> None:
        self._service = service
        self._limits = Limits(service)
        self._is_loopback = is_loopback
        self._keys = KeyRing(news)
        self._callers: dict[str, tuple[ApiKey, Caller]] = {}
        self._uses = LatestTimes(
            service.unit_of_work,
            lambda unit, uses: unit.keys.note_uses(uses),
            every=NOTE_USES_EVERY,
            what="the last use of keys",
        )

    def share_counts(self) -> None:
        """Exchange what was counted with the other processes now."""
        self._limits.share()

    def admits(self, scope: Scope, *, farm_id: str) -> bool:
        """Whether a request may read the plans of a farm; True means it has been counted.

        False gives no reason; the full path works it out.
        """
        found = self._reader_of(scope, farm_id)
        return found is not None and self._over_limit(found, scope) is None

    def would_admit(self, scope: Scope, *, farm_id: str) -> bool:
        """Whether a request may read the plans of a farm; it is not counted."""
        return self._reader_of(scope, farm_id) is not None

    def _reader_of(self, scope: Scope, farm_id: str) -> Caller | None:
        found = self.find_caller(scope)
        if not isinstance(found, Caller):
            return None
        may_read = Right.PLAN_READ in found.rights and found.may_see(farm_id)
        return found if may_read else None

    def identify(self, scope: Scope) -> Caller | Refusal:
        """The caller of a request, or why it is refused; the request is counted."""
        found = self.find_caller(scope)
        if isinstance(found, Caller):
            over = self._over_limit(found, scope)
            return found if over is None else _wait(over)
        over = self._limits.over_refused(address=address_of(scope.get("client")))
        return found if over is None else _wait(over)

    def find_caller(self, scope: Scope) -> Caller | Refusal:
        """The caller of a request, not counted."""
        token = _token_of(scope)
        if token is not None:
            return self.find_holder(token)
        if self._is_loopback and is_from_this_machine(scope):
            return self.find_without_key()
        return _no_key("")

    def find_without_key(self) -> Caller | Refusal:
        """Whoever is at this machine without a key: the first key that was made shut the door."""
        return OPEN_CALLER if self._keys.is_empty else _no_key("")

    def find_holder(self, token: bytes) -> Caller | Refusal:
        """The caller who presents a key, not counted."""
        key = self._keys.find(token)
        now = self._service.clock.now()
        if key is None or not key.is_live(now):
            return _no_key(', error="invalid_token"')
        self._uses.note(key.key_id, now)
        known = self._callers.get(key.key_id)
        if known is None or known[0] is not key:
            caller = Caller(key.key_id, key.name, key.farm_id, key.scopes)
            self._callers[key.key_id] = known = (key, caller)
        return known[1]

    def over_address_limit(self, scope: Scope) -> dict[str, str] | None:
        """Count a request that needs no key; the headers of the refusal if it is over a limit."""
        address = address_of(scope.get("client"))
        over = self._limits.over(key_id=address, address=address)
        return None if over is None else over.headers()

    def over_link_limit(self, scope: Scope, mail_address: str) -> int | None:
        """Count a link that is asked for by mail; the seconds to wait if it is over the limit."""
        return self._limits.link_wait_s(
            mail_address=mail_address, address=address_of(scope.get("client"))
        )

    def _over_limit(self, caller: Caller, scope: Scope) -> OverLimit | None:
        if caller is OPEN_CALLER:
            return None
        return self._limits.over(key_id=caller.key_id, address=address_of(scope.get("client")))


class GuardedPaths:
    """ASGI middleware: nothing under the guarded paths without a caller, known or unknown alike."""

    def __init__(self, app: ASGIApp, *, gate: Gate, news: News) -> None:
        self._app = app
        self._gate = gate
        self._news = news

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Put the caller into the request's state, or answer with the refusal."""
        if scope["type"] != "http" or not scope["path"].startswith(_GUARDED_PATHS):
            await self._app(scope, receive, send)
            return
        try:
            found: Caller | Refusal
            if scope["path"].startswith(SECRET_LINKS):
                headers = self._gate.over_address_limit(scope)
                found = OPEN_CALLER if headers is None else Refusal(TOO_MANY_REQUESTS, headers)
            else:
                if not self._news.are_current():
                    await self._news.look()
                found = self._gate.identify(scope)
        except RillwrightError as error:
            answer = await answer_own_error(Request(scope), error)
            await answer(scope, receive, send)
            return
        if isinstance(found, Refusal):
            response = problem_response(Request(scope), found.kind, headers=found.headers)
            await response(scope, receive, send)
            return
        scope["state"]["caller"] = found
        with acting_as(found.actor):
            await self._app(scope, receive, send)


class Needs:
    """A route's dependency: checks the right, and that whatever the path names is the caller's.

    Anything of another farm is not found, whatever rights the key has; a missing right is reported
    only after that.
    """

    def __init__(self, right: Right, *, region_only: bool = False) -> None:
        self.right = right
        self._region_only = region_only

    async def __call__(self, request: Request) -> Caller:
        """The caller; raises NotFound or Refused."""
        caller: Caller = request.state.caller
        if caller.farm_id is not None:
            for name, value in request.path_params.items():
                await _check_tenant(request, caller, name, str(value))
        if self.right not in caller.rights or (self._region_only and caller.farm_id is not None):
            raise scope_missing(self.right)
        return caller


def scope_missing(right: Right) -> Refused:
    """The refusal of a caller without a right."""
    told = f'{REALM}, error="insufficient_scope", scope="{right}"'
    return Refused(FORBIDDEN, headers={"WWW-Authenticate": told})


async def _check_tenant(request: Request, caller: Caller, name: str, value: str) -> None:
    service: Service = request.app.state.service
    if name == "site_id":
        await run_in_threadpool(check_own, service, caller, name, value)
    else:
        check_own(service, caller, name, value)


def check_own(service: Service, caller: Caller, name: str, value: str) -> None:
    """Raise NotFound unless what a parameter of this name names is the caller's.

    A site is looked up in the database.
    """
    if caller.farm_id is None:
        return
    owner = _FARM_OF_PARAMETER.get(name)
    if owner is not None:
        is_own = caller.may_see(owner(value))
    elif name == "site_id":
        is_own = _draws_on(service, caller.farm_id, value)
    else:
        is_own = name in _WITHIN_A_CHECKED_ONE
    if not is_own:
        raise NotFound("there is nothing under this address, or it is another farm's")


def _draws_on(service: Service, farm_id: str, site_id: str) -> bool:
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_site_key(site_id)
        return farm_id in unit.blocks.find_users(np.array([key], dtype=np.int64)).get(key, ())


def _farm_before_the_dot(name: str) -> str:
    return name.partition(".")[0]


_FARM_OF_PARAMETER: Final[Mapping[str, Callable[[str], str]]] = {
    "farm_id": str,
    "block_id": _farm_before_the_dot,
    "controller_id": _farm_before_the_dot,
    "supply_id": _farm_before_the_dot,
}
_WITHIN_A_CHECKED_ONE: Final = frozenset({"pause_id", "subscription_id", "day", "started_at"})
"""Parameters that mean nothing without one that is checked; any other name is refused."""


def needs(right: Right, *, region_only: bool = False) -> Any:
    """The dependency that a route declares its right with: ``dependencies=[needs(...)]``."""
    return Depends(Needs(right, region_only=region_only))


async def _by_secret_link() -> None:
    """A route whose address is the secret, at a path that :class:`GuardedPaths` lets through."""


BY_SECRET_LINK: Final = Depends(_by_secret_link)
"""Stands in for a right where people without a key subscribe to something."""


async def _with_any_key() -> None:
    """A route that says nothing of any farm: every key opens it."""


ANY_KEY: Final = Depends(_with_any_key)
"""Stands in for a right where there is nothing to keep from any caller with a key."""


def right_of(route: BaseRoute) -> str | None:
    """The right that a route declares, ``secret link``, ``any``, or None where it forgot to."""
    for dependency in getattr(route, "dependencies", ()):
        if isinstance(dependency.dependency, Needs):
            return str(dependency.dependency.right)
        if dependency.dependency is _by_secret_link:
            return "secret link"
        if dependency.dependency is _with_any_key:
            return "any"
    return None


def check_rights(routes: Iterable[BaseRoute]) -> None:
    """Refuse to start if a route declares no right, so that nothing is left open by oversight."""
    forgotten = [str(getattr(route, "path", route)) for route in routes if right_of(route) is None]
    if forgotten:
        raise RuntimeError(f"routes without a right: {', '.join(forgotten)}")


def rights_by_operation(routes: Iterable[BaseRoute]) -> dict[str, str]:
    """The right of each operation, by the operation's id."""
    return {
        str(getattr(route, "operation_id", "")): right
        for route in routes
        if (right := right_of(route)) is not None
    }


async def _caller(request: Request) -> Caller:
    caller: Caller = request.state.caller
    return caller


TheCaller = Annotated[Caller, Depends(_caller)]


def _token_of(scope: Scope) -> bytes | None:
    """The key of a request."""
    token: bytes | None = None
    other: bytes | None = None
    for name, value in scope["headers"]:
        if name == b"authorization":
            scheme, _, rest = value.partition(b" ")
            # Another scheme is not a key, but it does not count as no key either.
            token = rest.strip() if scheme.lower() == b"bearer" else b""
        elif name == b"x-api-key":
            other = value.strip()
    return other if token is None else token


def _no_key(error: str) -> Refusal:
    return Refusal(UNAUTHORISED, {"WWW-Authenticate": REALM + error})


def _wait(over: OverLimit) -> Refusal:
    return Refusal(TOO_MANY_REQUESTS, over.headers())


__all__ = [
    "ANY_KEY", "BY_SECRET_LINK", "OPEN_CALLER", "Caller", "Gate", "GuardedPaths", "Needs",
    "Right", "TheCaller", "check_rights", "needs", "right_of", "rights_by_operation",
    "scope_missing",
]  # fmt: skip
