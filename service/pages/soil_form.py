"""The question of a first plan on the pages: how wet is the soil?

It is answered by feel, by saying that the block was just watered, or as a share.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType

from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.feedback.estimate_soil import WETNESS, estimate_soil
from service.pages.number_fields import number_or_nan
from service.pages.visit import Visit
from service.translations import Wording
from service.translations.catalogue import marked

ANSWER, SHARE = "wetness", "available"
"""Fields of the form: the answer by feel, and the share in percent."""
_JUST_WATERED = "just-watered"
_ANSWERS: Mapping[str, float] = MappingProxyType({_JUST_WATERED: 1.0, **WETNESS})
_BY_HAND = {
    _JUST_WATERED: marked("just watered: a long irrigation or a soaking rain ended within a day"),
    "full": marked("full: wet, as the day after a long irrigation"),
    "three-quarters": marked("three quarters: a squeezed ball holds and leaves the hand wet"),
    "half": marked("half: a squeezed ball holds, the hand stays nearly dry"),
    "quarter": marked("a quarter: a squeezed ball crumbles"),
    "dry": marked("dry: no ball forms"),
}
"""How soil of each wetness feels: common practice, from memory."""


def wetness_choices(words: Wording) -> list[tuple[str, str]]:
    """How wet a soil can be said to be, with what it feels like."""
    known = [(key, words.gettext(_BY_HAND[key])) for key in _ANSWERS]
    return [("", words.gettext("not known")), *known]


def entered_wetness(form: Mapping[str, str], ending: str = "") -> float | None:
    """The share of the available water that a form says is there; None where it says nothing.

    ``ending`` is added to the names of the fields. A share counts more than what is felt. Raises
    InputInvalid at the field.
    """
    text = form.get(f"{SHARE}{ending}", "")
    if text:
        percent = number_or_nan(text.removesuffix("%").strip())
        if math.isnan(percent) or not 0.0 <= percent <= 100.0:
            allowed = marked("a share from 0 (dry) to 100 (full) percent, such as 60")
            raise InputInvalid("no share", [Fault(f"{SHARE}{ending}", text[:40], allowed)])
        return percent / 100.0
    answer = form.get(f"{ANSWER}{ending}", "")
    if answer and answer not in _ANSWERS:
        allowed = marked("one of the answers offered")
        raise InputInvalid("no answer", [Fault(f"{ANSWER}{ending}", answer[:40], allowed)])
    return _ANSWERS.get(answer)


def store_wetness(visit: Visit, unit: UnitOfWork, block_id: str, read_at: datetime) -> int:
    """Store the answer of a form; returns the number of new plans."""
    share = entered_wetness(visit.form)
    if share is None:
        allowed = marked("one of the answers offered")
        raise InputInvalid("an answer is missing", [Fault(ANSWER, "", allowed)])
    return store_share(visit, unit, block_id, share, read_at=read_at)


def store_share(
    visit: Visit, unit: UnitOfWork, block_id: str, share: float, *, read_at: datetime
) -> int:
    """Store how much of its available water a block has; returns the number of new plans."""
    done = estimate_soil(
        unit,
        block_id,
        share,
        read_at=read_at,
        reporter=visit.reporter,
        replanning=visit.service.replanning,
    )
    return done.new_version_count
