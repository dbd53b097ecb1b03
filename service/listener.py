"""The socket that a server listens on."""

from __future__ import annotations

import os
import socket
from typing import Final

from service.errors import Fault, SettingsInvalid

LISTENER_VARIABLE: Final = "RILLWRIGHT_LISTENER_FD"
"""Number of the open socket that a process leaves to itself when it restarts."""


def take_listener(host: str, port: int) -> socket.socket:
    """The socket to listen on: the one that this process has left itself, or a new one."""
    left = os.environ.pop(LISTENER_VARIABLE, "")
    if left.isdecimal():
        listener = socket.socket(fileno=int(left))
        listener.set_inheritable(False)
        return listener
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family, backlog=2048)
    except OSError as error:
        raise SettingsInvalid(
            "the service cannot listen there",
            [Fault("--host, --port", f"{host}, {port}: {error.strerror}", "a free address")],
        ) from error
