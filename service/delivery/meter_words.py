"""What a meter counted and how it was booked, in a reader's language: for mails and pages."""

from __future__ import annotations

from service.records.feedback import MeteredDay
from service.records.letters import BlockLine
from service.translations import Wording


def meter_notes(block: BlockLine, words: Wording) -> tuple[str, ...]:
    """The metered day before the plan of a block."""
    return () if block.metered is None else metered_texts(block.metered, words)


def metered_texts(metered: MeteredDay, words: Wording) -> tuple[str, ...]:
    """A day of the meter: what is booked, and what is questioned."""
    texts = []
    facts = {
        "day": words.short_day(metered.day),
        "volume": words.volume(metered.booked_l),
        "depth": words.depth(metered.irrigation_gross_mm),
    }
    if metered.booked_l and metered.leakage_fraction:
        texts.append(
            words.gettext(
                "Metered on {day}: {volume}, of which {share} leaks. The day is booked as {depth}.",
                **facts,
                share=words.percent(metered.leakage_fraction),
            )
        )
    elif metered.booked_l:
        texts.append(
            words.gettext("Metered on {day}: {volume}. The day is booked as {depth}.", **facts)
        )
    if metered.questioned_l:
        texts.append(
            words.gettext(
                "The meter's {volume} on {day} are questioned, so that the minutes are booked:"
                " correct the run, or confirm the volume.",
                day=facts["day"],
                volume=words.volume(metered.questioned_l),
            )
        )
    return tuple(texts)
