"""The one folder in which a small installation keeps everything: what is in it, and how it is made.

    rillwright.db           the database
    before-upgrades/        copies of it, each from just before its schema was changed
    backups/                its daily backups, unless the settings name another folder
    page-secret             signs the cookies of people who are signed in
    kernels/<digest>/       compiled kernels of this version of the service

Only the database is in a backup; the rest is made again.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
import sys
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Final

import service
from service.errors import Fault, SettingsInvalid

KEPT_COPIES: Final = 5
_PRIVATE: Final = 0o700
_COPIES: Final = "before-upgrades"
_KERNEL_SOURCES: Final = ("kernels.py", "pulses.py", "agronomy/*.py", "waterworks/*.py")


@dataclass(frozen=True, slots=True)
class StateFolder:
    """Where an installation keeps what it has."""

    path: Path

    def make(self) -> None:
        """Create what is missing, for this user alone; raises SettingsInvalid if that fails."""
        try:
            for each in (self.path, self.path / _COPIES, self.kernels):
                each.mkdir(mode=_PRIVATE, parents=True, exist_ok=True)
        except OSError as error:
            raise SettingsInvalid(
                "the folder of this installation cannot be used",
                [
                    Fault(
                        "RILLWRIGHT_STATE", f"{self.path}: {error.strerror}", "a folder to write in"
                    )
                ],
            ) from error

    @property
    def kernels(self) -> Path:
        """Compiled kernels: numba looks only at the file of a kernel, not at those it calls, so the
        folder is named after all of them, and after what compiled them.
        """
        return self.path / "kernels" / kernels_digest()

    def drop_old_kernels(self) -> None:
        """Remove what other versions have compiled."""
        for each in (self.path / "kernels").iterdir():
            if each != self.kernels:
                shutil.rmtree(each, ignore_errors=True)

    def page_secret(self) -> str:
        """What signs cookies; made when it is first asked for."""
        file = self.path / "page-secret"
        try:
            handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            return file.read_text("ascii").strip()
        with os.fdopen(handle, "w", encoding="ascii") as writer:
            made = secrets.token_urlsafe(48)
            writer.write(f"{made}\n")
        return made

    def name_copy(self, revision: str, stamp: str) -> Path:
        """A new copy's name, which says what is in it and sorts by age; old copies are removed."""
        folder = self.path / _COPIES
        for old in sorted(folder.glob("*.db"))[: -(KEPT_COPIES - 1)]:
            old.unlink()
        return folder / f"{stamp}-at-{revision}.db"


def kernels_digest() -> str:
    """What the kernels of this version are told apart by from those of another."""
    digest = hashlib.sha256(f"{sys.version} {version('numba')} {version('numpy')}".encode())
    room = Path(service.__file__).parent
    for pattern in _KERNEL_SOURCES:
        for file in sorted(room.glob(pattern)):
            digest.update(file.name.encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()[:16]
