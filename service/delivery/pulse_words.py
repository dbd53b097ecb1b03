"""The pulses of a block as its reader runs them, for mails and pages."""

from __future__ import annotations

from service.records.letters import BlockLine
from service.translations import Wording
from service.translations.catalogue import marked


def pulse_words(block: BlockLine, zone: str, words: Wording) -> tuple[str, ...]:
    """Start, end and minutes of each pulse; for a valve turned by hand, when to turn it.

    A single pulse of a valve that opens by itself needs no list.
    """
    is_by_hand = bool(block.numbers.get("visit_count"))
    if len(block.pulses) < 2 and not is_by_hand:
        return ()
    text = marked("{start} to {end}, {minutes}")
    if is_by_hand:
        text = marked("Open the valve at {start}, close it at {end} ({minutes})")
    return tuple(
        words.gettext(
            text,
            start=words.clock(pulse.starts_at, zone),
            end=words.clock(pulse.ends_at, zone),
            minutes=words.minutes(pulse.duration_min),
        )
        for pulse in block.pulses
    )
