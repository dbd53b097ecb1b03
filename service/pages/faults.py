"""Faults of a form as the page shows them: at their field, and all of them first, with links."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class NotedFault:
    """One line of the summary."""

    field_id: str
    """Of the element that it leads to; empty where no field of the page is at fault."""
    text: str


@dataclass(slots=True)
class NotedFaults:
    """What the forms of one page found fault with, in the order of their fields.

    A template's fields note their faults while they are drawn; the page around them, which is
    drawn afterwards, puts the summary first and says ``Error`` in its title.
    """

    lines: list[NotedFault] = field(default_factory=list)

    def add(self, field_id: str, *parts: str) -> str:
        """Note a fault; draws nothing by itself."""
        text = ": ".join(part.strip() for part in parts if part and part.strip())
        self.lines.append(NotedFault(field_id, text))
        return ""
