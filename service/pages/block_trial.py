"""What weighing the forecast would have done, on the page of a block, and the choice of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.risk_attitude import RiskAttitude, attitude_named
from service.database.session import UnitOfWork
from service.delivery.trial_words import trial_sentence
from service.operations.access.manage_keys import Right
from service.operations.farms.choose_attitude import choose_attitude
from service.operations.reading.read_risk_trial import trial_of
from service.operations.waterworks.learn_rate import rate_offer
from service.pages.plans import farm_of
from service.pages.rain_question import rain_place
from service.pages.visit import Visit, redirect
from service.records.farms import BlockDefinition
from service.translations import Wording

CHOICES = ("classic", "balanced")


@dataclass(frozen=True, slots=True)
class TrialView:
    """What the page says of it."""

    text: str
    weighs_from: date | None
    """First day that will be planned so unless the grower says otherwise."""
    is_turned_on: bool
    """The block weighs the forecast already, and nobody stated it."""


def trial_view(
    unit: UnitOfWork, block: BlockDefinition, first_day: date, last_day: date, *, words: Wording
) -> TrialView | None:
    """The days of a span; None where the grower made a choice or no day is over."""
    if block.has_stated_attitude:
        return None
    found = trial_of(unit, block, first_day=first_day, last_day=last_day)
    is_turned_on = block.risk_attitude != RiskAttitude.CLASSIC
    if found.sums is None or not (found.is_kept or is_turned_on):
        return None
    return TrialView(
        text=trial_sentence(found.sums, words),
        weighs_from=None if found.notice is None else found.notice.turns_on + ONE_DAY,
        is_turned_on=is_turned_on,
    )


def offers_of(
    unit: UnitOfWork,
    block: BlockDefinition,
    today: date,
    *,
    span: tuple[date, date],
    words: Wording,
) -> dict[str, object]:
    """What the page offers to change: the flow by the meter, rain in the gauge, the rule."""
    return {
        "offer": rate_offer(unit, block, today=today),
        "gauge": rain_place(unit, block, today + ONE_DAY),
        "trial": trial_view(unit, block, *span, words=words),
    }


def choose(visit: Visit) -> Response:
    """Keep the evening rule for good, or weigh the forecast from today on."""
    farm_of(visit, Right.FARM_WRITE)
    block_id, word = visit.params["block_id"], visit.form.get("attitude", "")
    if word not in CHOICES:
        return redirect(f"/blocks/{block_id}")
    with visit.service.unit_of_work(write=True) as unit:
        _, count = choose_attitude(
            unit, block_id, attitude_named(word), replanning=visit.service.replanning
        )
    return redirect(f"/blocks/{block_id}", done=f"attitude-{'changed' if count else 'kept'}")
