"""What weighing the forecast would have done, in a sentence: for pages and commands."""

from __future__ import annotations

from service.delivery.plain_text import clean
from service.records.letters import EveningLetter
from service.records.shadow import ShadowSums
from service.translations import Wording

LEAST_SHOWN_MM = 0.5
"""[CHOICE] A smaller difference is none."""


def trial_sentence(sums: ShadowSums, words: Wording) -> str:
    """What ``balanced`` came to beside the evening rule, both on the same forecasts and weather."""
    if not sums.weighed_day_count:
        return words.gettext("On paper, weighing the forecast has not decided any day here so far.")
    rule, weighed = sums.rule, sums.weighed
    found = (
        (_water(weighed.net_mm - rule.net_mm, words), words.gettext("water")),
        (_drainage(weighed.drainage_mm - rule.drainage_mm, words), words.gettext("drainage")),
        (
            _thirst(weighed.short_day_count - rule.short_day_count, words),
            words.gettext("days short of water"),
        ),
    )
    differing = [what for what, _ in found if what is not None]
    same = [name for what, name in found if what is None]
    alike = words.listed(same) if same else ""
    if not differing:
        return words.ngettext(
            "On paper, over the last {count} day, weighing the forecast (balanced) would have come"
            " to the same {alike} as the evening rule.",
            "On paper, over the last {count} days, weighing the forecast (balanced) would have come"
            " to the same {alike} as the evening rule.",
            sums.day_count,
            alike=alike,
        )
    sentence = words.ngettext(
        "On paper, over the last {count} day, weighing the forecast (balanced) would have"
        " {differing} than the evening rule.",
        "On paper, over the last {count} days, weighing the forecast (balanced) would have"
        " {differing} than the evening rule.",
        sums.day_count,
        differing=words.listed(differing),
    )
    if not alike:
        return sentence
    rest = words.gettext("The two come to the same {alike}.", alike=alike)
    return f"{sentence} {rest}"


def notice_words(letter: EveningLetter, words: Wording) -> tuple[str, ...]:
    """What the reader of a mail is told of blocks that begin to weigh the forecast unasked."""
    return tuple(
        words.gettext(
            "{block} weighs the forecast from this plan on. You can undo that on the block's page.",
            block=clean(each.block_name),
        )
        if each.is_on
        else words.gettext(
            "{block} will weigh the forecast from {day} on, since it did better on paper than the"
            " evening rule. The block's page says by how much; you can keep the evening rule"
            " there.",
            block=clean(each.block_name),
            day=words.long_day(each.from_day),
        )
        for each in letter.notices
    )


def _water(more_mm: float, words: Wording) -> str | None:
    if abs(more_mm) < LEAST_SHOWN_MM:
        return None
    amount = words.depth(abs(more_mm))
    if more_mm < 0.0:
        return words.gettext("used {depth} less water", depth=amount)
    return words.gettext("used {depth} more water", depth=amount)


def _drainage(more_mm: float, words: Wording) -> str | None:
    if abs(more_mm) < LEAST_SHOWN_MM:
        return None
    amount = words.depth(abs(more_mm))
    if more_mm < 0.0:
        return words.gettext("drained {depth} less", depth=amount)
    return words.gettext("drained {depth} more", depth=amount)


def _thirst(more: int, words: Wording) -> str | None:
    if more == 0:
        return None
    if more < 0:
        return words.ngettext(
            "left the block short of water on {count} day fewer",
            "left the block short of water on {count} days fewer",
            -more,
        )
    return words.ngettext(
        "left the block short of water on {count} day more",
        "left the block short of water on {count} days more",
        more,
    )
