"""Tools for agents: the command that gives them, and what the web server is given of them."""

from __future__ import annotations

from importlib.util import find_spec
from typing import TYPE_CHECKING

from service.cli.terminal import open_service
from service.errors import Fault, SettingsInvalid
from service.logs import configure_logs
from service.settings import Settings

if TYPE_CHECKING:
    from service.api.tools_door import MakeTools


def tools() -> None:
    """Give an agent tools on the standard streams (Model Context Protocol), until it closes them.

    They do what the key in RILLWRIGHT_AGENT_KEY may do, and only read without one.
    """
    check_tools_installed("rillwright tools")
    service = open_service()
    from anyio import run

    from service.agent_tools.entrances import serve_streams

    configure_logs(service.settings.log_format, level=service.settings.log_level)
    key = service.settings.agent_key
    run(serve_streams, service, None if key is None else key.get_secret_value())


def tools_to_serve(settings: Settings) -> MakeTools | None:
    """What makes the tools for the web server; None if the settings do not ask for them."""
    if not settings.agent_tools:
        return None
    check_tools_installed("RILLWRIGHT_AGENT_TOOLS")
    from service.agent_tools.entrances import make_door

    return make_door


def check_tools_installed(wanted_by: str) -> None:
    """Raise SettingsInvalid where the package is missing that the tools are made with."""
    if find_spec("mcp") is None:
        raise SettingsInvalid(
            "the tools for agents are not installed",
            [Fault(wanted_by, "no package `mcp`", 'an installation of "rillwright[tools]"')],
        )
