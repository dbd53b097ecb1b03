"""The question of a first plan on the pages: how wet is the soil?"""

from __future__ import annotations

from datetime import datetime

from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.feedback.estimate_soil import WETNESS, estimate_soil
from service.pages.visit import Visit
from service.translations import Wording
from service.translations.catalogue import marked

_BY_HAND = {
    "full": marked("full: wet, as the day after a long irrigation"),
    "three-quarters": marked("three quarters: a squeezed ball holds and leaves the hand wet"),
    "half": marked("half: a squeezed ball holds, the hand stays nearly dry"),
    "quarter": marked("a quarter: a squeezed ball crumbles"),
    "dry": marked("dry: no ball forms"),
}
"""How soil of each wetness feels: common practice, from memory."""


def wetness_choices(words: Wording) -> list[tuple[str, str]]:
    """How wet a soil can be said to be, with what it feels like."""
    known = [(key, words.gettext(_BY_HAND[key])) for key in WETNESS]
    return [("", words.gettext("not known")), *known]


def store_wetness(visit: Visit, unit: UnitOfWork, block_id: str, read_at: datetime) -> int:
    """Store the answer of a form; returns the number of new plans."""
    answer = visit.form.get("wetness", "")
    if answer not in WETNESS:
        allowed = marked("one of the answers offered")
        raise InputInvalid("an answer is missing", [Fault("wetness", answer[:40], allowed)])
    done = estimate_soil(
        unit,
        block_id,
        WETNESS[answer],
        read_at=read_at,
        reporter=visit.reporter,
        replanning=visit.service.replanning,
    )
    return done.new_version_count
