"""The errors of the service, one tree that can be read in ten seconds.

    RillwrightError
    ├── InputInvalid              the input given is wrong; carries a list of Fault
    │   ├── FarmFileInvalid       a farm file
    │   ├── WeatherInvalid        weather values or a weather file
    │   └── SettingsInvalid       the service's own settings
    ├── NotFound                  the thing named does not exist (or is not yours)
    │   └── PlanNotFound          the block exists, but no plan of it for that day
    ├── Retired                   it existed once and is no longer in use
    ├── Conflict                  the current state does not allow it; may carry a list of Fault
    │   ├── Stale                 the thing has changed since the caller read it
    │   └── Busy                  only one of a kind runs at a time, and one is running
    ├── WeatherUnavailable        no usable weather for what was asked
    ├── MailUnavailable           the mail relay cannot be reached, or refuses the sender
    │   └── MailRefused           the relay refused one mail
    └── StorageFailed             the database refused or is not at the expected version
        └── StorageAway           it cannot be reached now, or another writer holds it
            └── StorageBusy       others held it for too long; nothing was stored

The tree knows no HTTP: the API maps it to problem documents, the command line to exit codes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: where it is, what was found there, and what is allowed."""

    where: str
    """File and line, key path or argument, for example ``farm.toml: block[2].row_spacing``."""
    found: str
    """The value as it was given."""
    allowed: str
    """What would have been accepted, in words with units."""

    def __str__(self) -> str:
        return f"{self.where}: found {self.found}; allowed: {self.allowed}"


class RillwrightError(Exception):
    """Base class of every error that the service raises on purpose."""


class InputInvalid(RillwrightError):
    """Input that cannot be used; lists every fault found, not only the first."""

    def __init__(self, message: str, faults: Iterable[Fault] = ()) -> None:
        self.message = message
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join([message, *(f"  - {fault}" for fault in self.faults)]))


class FarmFileInvalid(InputInvalid):
    """A farm file that cannot be loaded; none of it was."""


class WeatherInvalid(InputInvalid):
    """Weather values that cannot be used; none were stored."""


class SettingsInvalid(InputInvalid):
    """Settings with which the service must not start."""


class NotFound(RillwrightError):
    """The thing named does not exist."""


class PlanNotFound(NotFound):
    """The block exists, but no plan of it is stored for the day or version asked for."""


class Retired(RillwrightError):
    """The thing named was retired for good; callers can stop asking for it."""


class Conflict(RillwrightError):
    """The current state does not allow the request."""

    def __init__(self, message: str, faults: Iterable[Fault] = ()) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__(message)


class Stale(Conflict):
    """The thing has changed since the caller read it."""


class Busy(Conflict):
    """Only one of its kind runs at a time; the request can be repeated later."""


class WeatherUnavailable(RillwrightError):
    """No usable weather for the site and days asked for."""


class StorageFailed(RillwrightError):
    """The database refused, or its schema is not the one this version expects."""


class StorageAway(StorageFailed):
    """The database cannot be reached now, or another writer holds it: the same may work soon."""


class StorageBusy(StorageAway):
    """Others held the database for too long. Nothing was stored; the same may succeed later."""


class MailUnavailable(RillwrightError):
    """The mail relay cannot be reached, dropped the connection, or does not accept mail from this
    service."""


class MailRefused(MailUnavailable):
    """The relay refused one mail: for now (4xx), or for good (5xx)."""

    def __init__(self, code: int, reply: str) -> None:
        self.code = code
        self.reply = reply
        super().__init__(f"{code} {reply}")

    @property
    def is_final(self) -> bool:
        """Whether the refusal is permanent, so that trying again cannot succeed."""
        return self.code >= 500
