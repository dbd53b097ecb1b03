"""What weighing the forecast would have done, on the page of a block."""

from __future__ import annotations

from datetime import date

from service.database.session import UnitOfWork
from service.delivery.trial_words import trial_sentence
from service.operations.reading.read_risk_trial import trial_of
from service.records.farms import BlockDefinition
from service.translations import Wording


def trial_text(
    unit: UnitOfWork, block: BlockDefinition, first_day: date, last_day: date, *, words: Wording
) -> str:
    """A sentence about the days of a span; empty where nothing is kept or no day is over."""
    found = trial_of(unit, block, first_day=first_day, last_day=last_day)
    if not found.is_kept or found.sums is None:
        return ""
    return trial_sentence(found.sums, words)
