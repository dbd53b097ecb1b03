"""A study: the same pure work on many parts, such as the capacity of each supply of a region."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

Shared = TypeVar("Shared")
Part = TypeVar("Part")
Result = TypeVar("Result")

Tick = Callable[[int], None]
"""Hears how many steps are done."""


@dataclass(frozen=True, slots=True)
class Study(Generic[Shared, Part, Result]):
    """What is to be done; nothing of it reads or writes a database, a file or a clock."""

    work: Callable[[Shared, Part, Tick], Result]
    """A function of a module, which another process can import by its name."""
    shared: Shared
    """What every part needs, such as the weather; sent once."""
    parts: Sequence[Part]
    step_counts: Sequence[int]
    """Steps of each part, for progress."""
