"""An application on a socket of this machine, for tests that look at it through a browser."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn
from fastapi import FastAPI

from tests.patience import PATIENCE_S


@contextmanager
def serving(app: FastAPI, listener: socket.socket) -> Iterator[None]:
    """The application answers on a socket that is bound already, while the block runs."""
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", ws="none", lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    deadline = time.monotonic() + PATIENCE_S
    while not server.started and thread.is_alive() and time.monotonic() < deadline:
        time.sleep(0.01)  # looked at again and again; nothing is waited out
    assert server.started
    try:
        yield
    finally:
        server.should_exit = True
        thread.join(PATIENCE_S)
    assert not thread.is_alive()
