"""What a week came to, as a neighbor would say it first: watered so much for so much used."""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass

from service.records.letters import BlockWeek
from service.translations import Wording

LEAST_MM = 2.5
LEAST_SHARE = 0.25
"""[CHOICE] A difference below the larger of both is none. Irrigation is gross: losses of a tenth to
a fifth are in it (common practice, no source), and the soil carries water into the next week."""


class Verdict(enum.Enum):
    """Whether a week's water was more or less than the crop used."""

    EVEN = "even"
    OVER = "over"
    UNDER = "under"


@dataclass(frozen=True, slots=True)
class WeekBalance:
    """The water of a week over the ground of one block or several."""

    applied_mm: float
    """Gross irrigation."""
    rain_kept_mm: float
    needed_mm: float
    """Crop water use, net."""

    @property
    def excess_mm(self) -> float:
        """Irrigation and rain kept beyond what the crop used; negative: less."""
        return self.applied_mm + self.rain_kept_mm - self.needed_mm

    @property
    def verdict(self) -> Verdict:
        """Over or under by more than the losses of the system and the soil's store explain."""
        if abs(self.excess_mm) < max(LEAST_MM, LEAST_SHARE * self.needed_mm):
            return Verdict.EVEN
        return Verdict.OVER if self.excess_mm > 0.0 else Verdict.UNDER


def balance_of(blocks: Sequence[BlockWeek]) -> WeekBalance:
    """The week of these blocks together, each by its ground.

    >>> balance_of([]).applied_mm
    0.0
    """
    area_m2 = sum(block.area_m2 for block in blocks)
    if not area_m2:
        return WeekBalance(0.0, 0.0, 0.0)
    return WeekBalance(
        applied_mm=sum(block.applied_mm * block.area_m2 for block in blocks) / area_m2,
        rain_kept_mm=sum(block.rain_kept_mm * block.area_m2 for block in blocks) / area_m2,
        needed_mm=sum(block.needed_mm * block.area_m2 for block in blocks) / area_m2,
    )


def balance_words(balance: WeekBalance, words: Wording) -> str:
    """The balance in one sentence, with its verdict."""
    facts = {"watered": words.depth(balance.applied_mm), "used": words.depth(balance.needed_mm)}
    rain = words.depth(balance.rain_kept_mm)
    if rain == words.depth(0.0):
        given = words.gettext("Watered {watered} for {used} used", **facts)
    else:
        given = words.gettext(
            "Watered {watered} and kept {rain} of rain for {used} used", **facts, rain=rain
        )
    return words.gettext("{given}: {verdict}.", given=given, verdict=_verdict_words(balance, words))


def _verdict_words(balance: WeekBalance, words: Wording) -> str:
    depth = words.depth(abs(balance.excess_mm))
    match balance.verdict:
        case Verdict.OVER:
            return words.gettext("over by {depth}", depth=depth)
        case Verdict.UNDER:
            return words.gettext("under by {depth}", depth=depth)
        case Verdict.EVEN:
            return words.gettext("about even")
