"""What the web application knows of the tools for agents: where a request goes, and what runs.

The room itself stands above the API, whose gate and schemas it uses, and needs a package that not
every installation has.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass

from starlette.types import ASGIApp

from service.api.county_desk import CountyDesk
from service.bootstrap import Service


@dataclass(frozen=True, slots=True)
class ToolsDoor:
    """An application for one address, and what has to run as long as it is served."""

    endpoint: ASGIApp
    running: Callable[[], AbstractAsyncContextManager[None]]


MakeTools = Callable[[Service, CountyDesk], ToolsDoor]
