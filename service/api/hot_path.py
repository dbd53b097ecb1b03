"""The two reads that machines repeat all day, answered ahead of the application.

A program poll or a plan read whose document this process keeps, by a key in good standing, needs no
routing, no dependencies and no thread: a key looked up by its hash, a document by its name, a
comparison of tags. Everything else - whatever is not kept, not known, not allowed or not asked for
in the usual way - is passed on to the application, whose routes give the same answer more slowly,
or a problem document where one is due. So this file makes no decisions: it only says yes sooner.
"""

from __future__ import annotations

import re
from itertools import count
from random import getrandbits
from time import perf_counter
from typing import Final, Protocol
from uuid import uuid4

from starlette.types import Scope, Send

from service.api.latest_times import LatestTimes
from service.api.negotiation import CSV, JSON, TABLES, preferred
from service.api.news import News
from service.api.plan_documents import PlanDocuments
from service.api.program import Document, Programs, Shown
from service.metrics import RequestMetrics
from service.ports import Clock

_CONTROLLERS: Final = "/v1/controllers/"
_PROGRAM: Final = "/program"
_BLOCKS: Final = "/v1/blocks/"
_PLAN: Final = "/plan"
_ID: Final = re.compile(r"[a-z0-9.-]{1,90}")
PROGRAM_ROUTE: Final = "/v1/controllers/{controller_id}/program"
PLAN_ROUTE: Final = "/v1/blocks/{block_id}/plan"


class Gate(Protocol):
    """Says whether a request may read the plans of a farm."""

    def would_admit(self, scope: Scope, *, farm_id: str) -> bool:
        """As :meth:`admits`, but the request is not counted."""
        ...

    def admits(self, scope: Scope, *, farm_id: str) -> bool:
        """True: yes, and the request has been counted. False: the application must work out why
        not.
        """
        ...


class HotPath:
    """Answers the reads that it can answer from memory."""

    def __init__(
        self,
        *,
        programs: Programs,
        polls: LatestTimes,
        plans: PlanDocuments,
        news: News,
        gate: Gate,
        clock: Clock,
        metrics: RequestMetrics,
    ) -> None:
        self._programs = programs
        self._polls = polls
        self._plans = plans
        self._news = news
        self._gate = gate
        self._clock = clock
        self._metrics = metrics

    async def answer(self, scope: Scope, send: Send) -> bool:
        """Answer a request; False: nothing was sent, and the application must answer."""
        if scope["type"] != "http" or scope["method"] not in ("GET", "HEAD"):
            return False
        path: str = scope["path"]
        if path.endswith(_PROGRAM) and path.startswith(_CONTROLLERS):
            name = path[len(_CONTROLLERS) : -len(_PROGRAM)]
            return await self._answer_program(name, scope, send)
        if path.endswith(_PLAN) and path.startswith(_BLOCKS):
            name = path[len(_BLOCKS) : -len(_PLAN)]
            return await self._answer_plan(name, scope, send)
        return False

    async def _answer_program(self, controller_id: str, scope: Scope, send: Send) -> bool:
        began = perf_counter()
        shown = self._programs.find(controller_id) if self._news.are_current() else None
        if shown is None:
            shown = await self._find_program(controller_id, scope)
        if shown is None or shown.json is None:
            return False
        accept = if_none_match = None
        for name, value in scope["headers"]:
            if name == b"if-none-match":
                if_none_match = value
            elif name == b"accept":
                accept = value
        kind = preferred(accept, TABLES)
        if kind is None or not self._gate.admits(scope, farm_id=shown.farm_id):
            return False
        self._polls.note(controller_id, self._clock.now())
        document = shown.document(as_csv=True) if kind == CSV else shown.json
        status = await self._send(document, if_none_match, scope, send)
        self._metrics.note(
            scope["method"], PROGRAM_ROUTE, status, duration_s=perf_counter() - began
        )
        return True

    async def _find_program(self, controller_id: str, scope: Scope) -> Shown | None:
        """The program from the database; nothing is read for a caller who may not see it."""
        if _ID.fullmatch(controller_id) is None:
            return None
        try:
            if not self._news.are_current():
                await self._news.look()
            if not self._gate.would_admit(scope, farm_id=controller_id.partition(".")[0]):
                return None
            return self._programs.find(controller_id) or await self._programs.load(controller_id)
        except Exception:  # a bug, too: the route meets the same trouble and says so
            return None

    async def _answer_plan(self, block_id: str, scope: Scope, send: Send) -> bool:
        began = perf_counter()
        if not self._news.are_current():
            try:
                await self._news.look()
            except Exception:  # as in _find_program
                return False
        kept = self._plans.find(block_id, scope["query_string"])
        accept = if_none_match = None
        for name, value in scope["headers"]:
            if name == b"if-none-match":
                if_none_match = value
            elif name == b"accept":
                accept = value
        if kept is None or preferred(accept, TABLES) != JSON:
            return False
        if not self._gate.admits(scope, farm_id=kept.farm_id):
            return False
        status = await self._send(kept.document, if_none_match, scope, send)
        self._metrics.note(scope["method"], PLAN_ROUTE, status, duration_s=perf_counter() - began)
        return True

    async def _send(
        self, document: Document, if_none_match: bytes | None, scope: Scope, send: Send
    ) -> int:
        """Send the document, or 304 if the caller's copy is current; returns the status."""
        request_id = (b"x-request-id", _new_id())
        if document.is_held(if_none_match):
            await send(
                {
                    "type": "http.response.start",
                    "status": 304,
                    "headers": [*document.not_modified, request_id],
                }
            )
            await send({"type": "http.response.body", "body": b""})
            return 304
        await send(
            {
                "type": "http.response.start",
                "status": 200,
                "headers": [*document.headers, request_id],
            }
        )
        body = b""
        if scope["method"] == "GET":
            body = document.body(int(self._clock.now().timestamp()))
        await send({"type": "http.response.body", "body": body})
        return 200


_IDS: Final = count(getrandbits(46))
_ID_OF_PROCESS: Final = f"{uuid4()}"[:24].encode("ascii")


def _new_id() -> bytes:
    """A UUID as text (version 4, RFC 9562): random when the process starts, then counted up.

    It names a request in a log and opens nothing, so it may be guessed.
    """
    return b"%s%012x" % (_ID_OF_PROCESS, next(_IDS))
