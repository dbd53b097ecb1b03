"""The commands for a small computer: pages, API and scheduler in one process; its preparation."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Annotated

import typer
from pydantic import SecretStr

from service.bootstrap import SystemClock, bring_up_to_date
from service.cli.housekeeping import announce
from service.cli.terminal import note, open_service
from service.cli.tools import tools_to_serve
from service.errors import Fault, SettingsInvalid, StorageFailed
from service.logs import configure_logs
from service.settings import Settings, read_settings
from service.state_folder import StateFolder, kernels_digest

_DEMO = (sys.executable, "-m", "service", "demo")


def run(
    host: Annotated[
        str | None, typer.Option("--host", help="Address to listen on; default: loopback only.")
    ] = None,
    port: Annotated[int | None, typer.Option("--port", min=1, max=65535)] = None,
) -> None:
    """Serve pages and API and make every evening's plans, in one process, until stopped.

    Everything is kept in the folder RILLWRIGHT_STATE. The database is brought up to date at the
    start, after a copy of it.
    """
    settings, state = _ready()
    make_tools = tools_to_serve(settings)
    service = open_service(settings)
    from service.listener import take_listener
    from service.one_process import Ending, run_together, start_anew

    address, number = host or settings.host, port or settings.port
    listener = take_listener(address, number)
    announce(service, address, number)
    configure_logs(settings.log_format, level=settings.log_level)
    state.drop_old_kernels()
    ending = run_together(service, listener, host=address, make_tools=make_tools)
    if ending is Ending.RENEWAL:
        service.close()
        start_anew(listener)


def prepare() -> None:
    """Make the folder RILLWRIGHT_STATE ready: the database up to date, the kernels compiled.

    Takes a minute or some after an installation or upgrade, else a moment. On a host of an office,
    which has no such folder, only the kernels are compiled, into the folder NUMBA_CACHE_DIR.
    """
    shared = os.environ.get("NUMBA_CACHE_DIR")
    if read_settings().state is None and shared:
        Path(shared).mkdir(mode=0o700, parents=True, exist_ok=True)
        done = Path(shared) / f"complete-{kernels_digest()}"
    else:
        _, state = _ready()
        done = state.kernels / "complete"
    if done.exists():
        note("ready")
        return
    note("compiling; this takes some minutes on a small computer")
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "RILLWRIGHT_DATABASE_URL": f"sqlite:///{folder}/invented.db"}
        made = subprocess.run(_DEMO, env=environment, capture_output=True, text=True, check=False)
    if made.returncode:
        raise StorageFailed(f"the kernels could not be compiled: {made.stderr.strip()[-500:]}")
    done.touch()
    note("ready")


def _ready() -> tuple[Settings, StateFolder]:
    """The settings and the folder, with a database of this version's schema."""
    settings = read_settings()
    if settings.state is None:
        raise SettingsInvalid(
            "a folder is needed to keep everything in",
            [Fault("RILLWRIGHT_STATE", "nothing", "a folder, such as /var/lib/rillwright")],
        )
    state = StateFolder(settings.state.absolute())
    state.make()
    copy = bring_up_to_date(settings, state, clock=SystemClock())
    if copy is not None:
        note(f"The database was brought up to date; it was copied before to {copy}")
    # Read by numba when it is imported, here and in every child.
    os.environ["NUMBA_CACHE_DIR"] = str(state.kernels)
    secret = settings.page_secret.get_secret_value() or state.page_secret()
    return settings.model_copy(update={"page_secret": SecretStr(secret)}), state
