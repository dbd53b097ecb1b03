"""Idempotent reports: the Idempotency-Key header, and the answers stored with it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from typing import Annotated, Final

from fastapi import Depends, Header, Request, Response
from pydantic import BaseModel

from service.api.access import TheCaller
from service.api.problem_types import IDEMPOTENCY_KEY_MISSING
from service.api.problems import Refused
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.operations.access.answer_once import Once, answer_once

_PATTERN: Final = r'^"[!#-~ ]{1,255}"$|^[!#-~]{1,255}$'
_KEY: Final = re.compile(_PATTERN)
NO_STORE: Final = {"Cache-Control": "no-store"}

IdempotencyKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        description="A key the caller chooses for this report, preferably a UUID in double "
        "quotes. Send the same key when you send the same report again; it counts "
        "once. Remembered for 48 hours. Required.",
        examples=['"6f1c2f0e-5a3b-4a58-9a53-2f9d3b6f3c11"'],
        json_schema_extra={"pattern": _PATTERN},
    ),
]


async def _once(
    request: Request, caller: TheCaller, idempotency_key: IdempotencyKey = None
) -> Once:
    if idempotency_key is None or not _KEY.fullmatch(idempotency_key):
        raise Refused(IDEMPOTENCY_KEY_MISSING)
    content = f"{request.method} {request.url.path}\n".encode() + await request.body()
    return Once(caller.tenant, idempotency_key.strip('"'), hashlib.sha256(content).hexdigest())


TheOnce = Annotated[Once, Depends(_once)]


def answered_once(
    once: Once, work: Callable[[UnitOfWork], BaseModel], service: Service, *, status: int = 200
) -> Response:
    """The result of the work, done now or when the same request came before."""

    def answer(unit: UnitOfWork) -> tuple[int, bytes]:
        return status, work(unit).model_dump_json().encode()

    stored = answer_once(once, answer, unit_of_work=service.unit_of_work, clock=service.clock)
    return Response(
        stored.body, status_code=stored.status, media_type="application/json", headers=NO_STORE
    )


def reporter_of(caller: TheCaller) -> str:
    """The name recorded as the source of a report."""
    return f"{caller.name} ({caller.key_id})" if caller.key_id else caller.name
