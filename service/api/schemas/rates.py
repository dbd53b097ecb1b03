"""A block's emitter flow by its meter."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.api.schemas.bodies import Body
from service.api.schemas.facts import Out, known
from service.operations.waterworks.learn_rate import RateOffer


class RateIn(Body):
    """The emitter flow to plan with."""

    emitter_flow_l_per_h: float = Field(
        gt=0,
        le=250,
        description="The flow that is offered, or the one that the farm's file states, L/h.",
    )


class RateOut(Out):
    """What a block's meter says of its emitters."""

    block_id: str = Field(description="Block, `farm.block`.")
    run_count: int = Field(description="Latest metered runs whose median it is, 20 at most.")
    first_day: date | None = Field(description="Day of the first of them.")
    last_day: date | None = Field(description="Day of the last of them.")
    rate_ratio: float | None = Field(
        description="Metered rate over that of the emitter flow in use; null: fewer than five runs."
    )
    error_fraction: float | None = Field(
        description="Standard error of that ratio, from the spread of those runs."
    )
    emitter_flow_l_per_h: float = Field(description="Flow of one emitter that plans use, L/h.")
    stated_l_per_h: float = Field(description="The same as the farm's file states it, L/h.")
    offered_l_per_h: float | None = Field(
        description="The same by the meter, offered for coming plans, L/h; null: nothing is."
    )
    reason: str = Field(description="Why it is offered or not, as text.")
    new_plan_count: int = Field(description="Plans that got a new version in the same step.")

    @classmethod
    def from_record(cls, offer: RateOffer, new_plan_count: int = 0) -> Self:
        """The offer without NaN."""
        return cls(
            block_id=offer.block_id,
            run_count=offer.rate.run_count,
            first_day=offer.first_day,
            last_day=offer.last_day,
            rate_ratio=known(offer.rate.rate_ratio),
            error_fraction=known(offer.rate.error_fraction),
            emitter_flow_l_per_h=offer.emitter_flow_l_per_h,
            stated_l_per_h=offer.stated_l_per_h,
            offered_l_per_h=offer.offered_l_per_h,
            reason=offer.reason,
            new_plan_count=new_plan_count,
        )
