"""The preparation of a host: its kernels are compiled once for each version."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

from service.cli.run import prepare
from service.errors import StorageFailed


@pytest.fixture
def compilations(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[int]:
    """How each compilation ended; an office's host, on which none is really made."""
    ended: list[int] = []

    def pretend(command: Sequence[str], **_options: object) -> subprocess.CompletedProcess[str]:
        ended.append(int(not ended))
        return subprocess.CompletedProcess(command, ended[-1], "", "no room left")

    monkeypatch.setattr(subprocess, "run", pretend)
    monkeypatch.delenv("RILLWRIGHT_STATE", raising=False)
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "kernels"))
    return ended


def test_kernels_are_compiled_until_that_has_succeeded_and_then_left(
    compilations: list[int],
) -> None:
    with pytest.raises(StorageFailed, match="could not be compiled: no room left"):
        prepare()
    prepare()
    prepare()
    assert compilations == [1, 0]
