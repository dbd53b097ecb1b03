"""What to inject into a block and when, for mails, pages and sheets."""

from __future__ import annotations

from service.delivery.plain_text import clean
from service.records.letters import BlockLine
from service.translations import Wording
from service.unit_sizes import L_PER_H_PER_GPH


def injection_words(block: BlockLine, zone: str, words: Wording) -> tuple[str, ...]:
    """One line for each time at which is injected, or that it does not fit; empty for most."""
    found = block.injection
    if found is None:
        return ()
    what = ", ".join(
        f"{words.number(mass_kg, 1)} kg {clean(words.gettext(name))}"
        for name, mass_kg in found.products
    )
    if not found.spans or found.injector_l_per_h is None:
        text = words.gettext(
            "Do NOT inject {what}: it does not fit into this day's pulses.", what=what
        )
        return (text,)
    is_us = words.unit_system == "us"
    rate = found.injector_l_per_h / (L_PER_H_PER_GPH if is_us else 1.0)
    shown = f"{words.number(rate, 2)} {'gal/h' if is_us else 'L/h'}"
    return tuple(
        words.gettext(
            "Inject {what} from {start} to {end}, injector at {rate}; clean water first and last.",
            what=what,
            start=words.clock(start, zone),
            end=words.clock(end, zone),
            rate=shown,
        )
        for start, end in found.spans
    )
