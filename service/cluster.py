"""Studies on Dask: processes of this machine, or those of a scheduler that the operator runs.

The same pure functions run there as here. Nothing is written anywhere, so that a study that is
stopped leaves nothing half done: its parts are taken back and its processes end. Evenings never run
here; leases in the database share them (DEVELOPERS.md, 98). A scheduler executes whatever it is
sent, so it belongs in a closed network.
"""

from __future__ import annotations

import importlib
import logging
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any, Final

from service import __version__
from service.errors import Fault, SettingsInvalid
from service.records.studies import Part, Result, Shared, Study, Tick

SETTING: Final = "RILLWRIGHT_CLUSTER"
LOCAL: Final = "local:"
REMOTE: Final = "tcp://"
MOST_LOCAL: Final = 256
ALLOWED: Final = (
    f"local:N, N processes of this machine (1 to {MOST_LOCAL}), or tcp://host:port, a Dask"
    " scheduler; empty: this process"
)
CONNECT_TIMEOUT_S: Final = 10.0


@dataclass(frozen=True, slots=True)
class Cluster:
    """Where studies run: a number of processes of this machine, or the address of a scheduler."""

    process_count: int = 0
    address: str = ""

    def run(
        self, study: Study[Shared, Part, Result], *, progress: Tick | None = None
    ) -> list[Result]:
        """The results in the order of the parts; raises what the first part that fails raises.

        Raises SettingsInvalid if there is no such cluster or its workers run something else.
        """
        with self._client() as client:
            _check_workers(client, self.address)
            return _run(client, study, progress)

    @contextmanager
    def _client(self) -> Iterator[Any]:
        dask = _dask()
        if self.process_count:
            with (
                dask.LocalCluster(
                    n_workers=self.process_count,
                    threads_per_worker=1,
                    host="127.0.0.1",
                    dashboard_address="127.0.0.1:0",
                    silence_logs=logging.CRITICAL,
                ) as own,
                dask.Client(own) as client,
            ):
                yield client
            return
        logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what fails is said below
        try:
            client = dask.Client(self.address, timeout=CONNECT_TIMEOUT_S)
        except (OSError, ValueError) as error:
            found = f"{self.address}: {_reason(error)}"
            raise _unusable(found, "a scheduler that answers") from error
        with client:
            yield client


def _dask() -> Any:
    """The package, which is an extra and has no types."""
    try:
        return importlib.import_module("distributed")
    except ImportError as error:
        raise _unusable("Dask is not installed", "the extra rillwright[cluster]") from error


def parse_cluster(text: str) -> Cluster:
    """The cluster that the setting names; raises SettingsInvalid.

    >>> parse_cluster("local:4").process_count
    4
    """
    if text.startswith(LOCAL) and text.removeprefix(LOCAL).isdecimal():
        count = int(text.removeprefix(LOCAL))
        if 1 <= count <= MOST_LOCAL:
            return Cluster(process_count=count)
    elif text.startswith(REMOTE):
        host, _, port = text.removeprefix(REMOTE).rpartition(":")
        if host and port.isdecimal() and 1 <= int(port) <= 65535:
            return Cluster(address=text)
    raise _unusable(repr(text), ALLOWED)


def _run(client: Any, study: Study[Shared, Part, Result], progress: Tick | None) -> list[Result]:
    (shared,) = client.scatter([study.shared], broadcast=True)
    futures = [
        client.submit(_work, study.work, shared, part, pure=False, retries=1)
        for part in study.parts
    ]
    steps_of = dict(zip((each.key for each in futures), study.step_counts, strict=True))
    done = 0
    try:
        for future in _dask().as_completed(futures):
            done += steps_of[future.key]
            if progress is not None:
                progress(done)
        return [future.result() for future in futures]
    except BaseException:
        with suppress(Exception):  # the scheduler may be what is gone
            client.cancel(futures, force=True)
        raise


def _work(work: Any, shared: Any, part: Any) -> Any:
    return work(shared, part, _no_one)


def _no_one(_steps: int) -> None:
    """Nobody hears the steps within a part."""


def own_version() -> str:
    """The version of this package where it is asked."""
    return __version__


def _check_workers(client: Any, address: str) -> None:
    """Refuse workers that would compute something else, and a scheduler that has none."""
    if not client.scheduler_info(n_workers=-1)["workers"]:
        raise _unusable(f"{address}: no workers", "a scheduler with workers (`dask worker`)")
    try:
        client.get_versions(check=True)
        found = set(client.run(own_version).values())
    except Exception as error:
        raise _unusable(
            f"workers that run something else: {_reason(error)}",
            f"the packages of this installation (rillwright {__version__})",
        ) from error
    if found != {__version__}:
        raise _unusable(
            "workers with rillwright " + ", ".join(sorted(found)), f"version {__version__}"
        )


def _reason(error: BaseException) -> str:
    return " ".join(str(error).split()) or type(error).__name__


def _unusable(found: str, allowed: str) -> SettingsInvalid:
    return SettingsInvalid("studies cannot run on this cluster", [Fault(SETTING, found, allowed)])
