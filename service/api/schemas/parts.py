"""Questions and answers about the parts of a block's drip system."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out
from service.api.schemas.queries import In
from service.api.schemas.waterworks import AdvisoryOut, plain
from service.operations.waterworks.list_parts import PartsReport, PartsRequest
from service.records.season import VisitNote
from service.waterworks.head_filter import WaterOrigin
from service.waterworks.head_injector import (
    COMMON_DILUTION_RATIO,
    COMMON_INJECTION_MIN,
    COMMON_LOSS_RATIO,
    Substance,
)


class PartsQuery(In):
    """What the block itself does not say."""

    water: WaterOrigin = Field(
        WaterOrigin.UNKNOWN, description="`unknown`, `well`, `surface` or `mains`."
    )
    inject: str = Field(
        "fertiliser",
        pattern="^((fertiliser|chlorine|acid)(,(fertiliser|chlorine|acid))*)?$",
        description="What is injected, with commas between; empty: nothing.",
        examples=["fertiliser,acid"],
    )
    zone_count: int | None = Field(
        None, ge=1, le=200, description="Zones; as few as the supply allows if left out."
    )
    row_length_m: float | None = Field(
        None, ge=1.0, le=5000.0, description="Length of the rows where no pipes are described, m."
    )
    inlet_head_m: float | None = Field(
        None, ge=0.5, le=200.0, description="Pressure at the head, m of water."
    )
    injection_min: float = Field(
        COMMON_INJECTION_MIN, gt=0.0, le=1440.0, description="Of one injection, minutes."
    )
    dilution_ratio: float = Field(
        COMMON_DILUTION_RATIO, ge=1.0, le=100_000.0, description="Water to stock solution."
    )
    loss_ratio: float = Field(
        COMMON_LOSS_RATIO,
        ge=0.05,
        le=0.9,
        description="Share of its inlet pressure that a suction injector takes.",
    )

    def request(self) -> PartsRequest:
        """The same for the operation."""
        return PartsRequest(
            origin=self.water,
            substances=tuple(Substance(each) for each in self.inject.split(",") if each),
            zone_count=self.zone_count,
            row_length_m=self.row_length_m,
            inlet_head_m=self.inlet_head_m,
            injection_min=self.injection_min,
            dilution_ratio=self.dilution_ratio,
            loss_ratio=self.loss_ratio,
        )


class PartSizeOut(Out):
    """A number that a part has to meet."""

    label: str
    low: float = Field(description="The number, or the least of a range.")
    high: float | None = Field(description="Null: one number, not a range.")
    unit: str


class PartOut(Out):
    """A line of the list."""

    key: str = Field(description="The same in price lists; new keys may be added.")
    name: str
    amount: float = Field(description="Pieces, or meters.")
    unit: str = Field(description="`piece` or `m`.")
    sizes: list[PartSizeOut]
    note: str
    source: str
    is_optional: bool = Field(description="Bought with another part, or not at all.")


class PipeAmountsOut(Out):
    """The block in meters and pieces."""

    lateral_m: float = Field(description="All drip line, m.")
    lateral_length_m: float = Field(description="One drip line, m.")
    lateral_count: int = Field(description="Drip lines.")
    emitter_count: int = Field(description="Emitters.")
    header_m: float = Field(description="Pipe that feeds the drip lines, m.")
    submain_m: float = Field(description="Pipe that feeds the header, m.")
    block_flow_l_per_h: float = Field(description="With all emitters running, L/h.")
    zone_count: int = Field(description="Zones, each behind a valve.")
    zone_flow_l_per_h: float = Field(description="Of one zone, L/h.")
    acre_inch_time_h: float = Field(description="Hours for an inch with all zones at once.")


class FilterOut(Out):
    """The filter that the water asks for."""

    kind: str
    grade: str = Field(description="`none`, `moderate` or `severe`: load of the water.")
    decided_by: list[str]
    is_water_known: bool = Field(description="False: no water analysis says it.")
    mesh: int = Field(description="Openings to an inch; or finer.")
    flow_l_per_h: float = Field(description="Through the head at one time, L/h.")
    rated_flow_l_per_h: float = Field(description="Least rated flow to buy, L/h.")
    bed_area_m2: float | None = Field(description="Surface of sand, m2; null: no sand.")
    clean_at_head_m: float = Field(description="Loss at which it is cleaned, m of water.")


class RegulatorOut(Out):
    """The pressure regulator of a zone."""

    set_low_head_m: float = Field(description="Lowest setting, m of water.")
    set_high_head_m: float = Field(description="Highest setting, m of water.")
    least_inlet_head_m: float = Field(description="Pressure before it, at least, m of water.")
    flow_l_per_h: float = Field(description="Of the zone, L/h.")
    source: str


class InjectionPlaceOut(Out):
    """Where a substance enters."""

    substance: str
    is_before_filter: bool
    reason: str
    source: str


class SuctionOut(Out):
    """Pressure of a suction injector, with and without a booster."""

    downstream_head_m: float = Field(description="That filter and regulator need, m of water.")
    least_inlet_head_m: float = Field(description="Pressure before it, at least, m of water.")
    inlet_head_m: float | None = Field(description="At the head, m of water; null: not known.")
    needed_difference_head_m: float | None = Field(description="Taken by the injector, m of water.")
    free_difference_head_m: float | None = Field(description="Left over for it, m of water.")
    booster_head_m: float | None = Field(description="Added by a booster pump, m; 0: none.")


class StationOut(Out):
    """A place along the pipe."""

    key: str
    kind: str
    name: str
    reason: str
    is_in_zone: bool


class ChecklistOut(Out):
    """Steps in their order."""

    key: str
    title: str
    steps: list[str]
    source: str


class LastVisitOut(Out):
    """What was seen on the last visit, to look at again on the next."""

    note_id: str
    block_id: str | None = Field(description="Null: the whole farm.")
    day: date = Field(description="Local day of the visit.")
    visitor: str = Field(description="Who was there.")
    text: str


class PartsOut(Out):
    """The parts of a block. Its cautions must be shown beside it."""

    block_id: str
    area_m2: float = Field(description="Ground of the block, m2.")
    water_sample_day: date | None
    flow_origin: str
    amounts: PipeAmountsOut
    filter: FilterOut
    regulator: RegulatorOut
    injection_places: list[InjectionPlaceOut]
    suction: SuctionOut
    bucket_l: float = Field(description="For one injection into one zone, L.")
    parts: list[PartOut]
    order: list[StationOut] = Field(description="From the supply to the flush ends.")
    checklists: list[ChecklistOut]
    notes: list[str] = Field(description="What was assumed, and what does not fit.")
    last_visit: list[LastVisitOut] = Field(
        description="Notes of the last visit, which belong to the checklist of the next; empty"
        " without any."
    )
    cautions: list[AdvisoryOut] = Field(description="Must be shown.")

    @classmethod
    def from_record(cls, found: PartsReport, visited: Sequence[VisitNote]) -> Self:
        """The answer."""
        return cls.model_validate(
            {
                **plain(found),
                "water_sample_day": found.sample_day,
                "injection_places": plain(found.places),
                "order": plain(found.stations),
                "last_visit": [
                    {name: getattr(each, name) for name in LastVisitOut.model_fields}
                    for each in visited
                ],
            }
        )
