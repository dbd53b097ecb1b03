"""Dependencies of routes: the service, and parameters that several routes share."""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated

from fastapi import Depends, Path, Request
from pydantic import BeforeValidator

from service.bootstrap import Service

SLUG_PATTERN = r"^[a-z0-9][a-z0-9-]{0,39}$"
BLOCK_ID_PATTERN = r"^[a-z0-9][a-z0-9-]{0,39}\.[a-z0-9][a-z0-9-]{0,39}$"
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


async def _service(request: Request) -> Service:
    service: Service = request.app.state.service
    return service


def _full_date(given: object) -> object:
    """Only YYYY-MM-DD: pydantic alone also takes seconds since 1970 and times at midnight."""
    is_text = isinstance(given, str) and _DATE.fullmatch(given) is not None
    if not is_text and not isinstance(given, date):
        message = "Allowed: a calendar date as YYYY-MM-DD"
        raise ValueError(message)
    return given


TheService = Annotated[Service, Depends(_service)]
CalendarDate = Annotated[date, BeforeValidator(_full_date)]
PathDay = Annotated[
    CalendarDate, Path(description="Local day, `YYYY-MM-DD`.", examples=["2026-07-15"])
]
FarmId = Annotated[
    str,
    Path(
        pattern=SLUG_PATTERN,
        description="Farm: small letters, digits and hyphens.",
        examples=["hill-farm"],
    ),
]
BlockId = Annotated[
    str,
    Path(
        pattern=BLOCK_ID_PATTERN,
        description="Block in full, `farm.block`: small letters, digits and hyphens.",
        examples=["hill-farm.north"],
    ),
]
