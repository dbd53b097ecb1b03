"""Acid that was given to a block: stored by day, added up, with what it brought.

One record holds all acid of a block and day; another one for that day replaces it. Nothing here
says that acid should be given.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.operations.reading.read_farms import today_at_block
from service.operations.waterworks.catch_tests import refuse_coming_day
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import LoadOutcome
from service.records.waterworks import AcidTreatment
from service.unit_sizes import M2_PER_HECTARE
from service.waterworks.acid import ACIDS
from service.waterworks.acid_amounts import AcidAmount, acid_brings

TITLE = "this acid cannot be stored"


@dataclass(frozen=True, slots=True)
class GivenAcid:
    """Acid that a block was given in a span of days."""

    first_day: date
    last_day: date
    treatments: tuple[AcidTreatment, ...]
    amount: AcidAmount
    nutrient_kg_per_ha: dict[str, float]
    """By nutrient."""
    carbonate_kg_per_ha: float
    """Lime, as CaCO3, that it used up."""


def record_acid(
    treatment: AcidTreatment, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> LoadOutcome:
    """Store the acid of a day; the same again changes nothing. Raises InputInvalid."""
    if treatment.acid_key not in ACIDS:
        allowed = f"one of {', '.join(ACIDS)}"
        raise InputInvalid(TITLE, [Fault("acid_key", treatment.acid_key, allowed)])
    if not 1.0 <= treatment.strength_pct <= 100.0:
        allowed = "1 to 100 per cent by weight; 93 % is 93, not 0.93"
        raise InputInvalid(TITLE, [Fault("strength_pct", f"{treatment.strength_pct:g}", allowed)])
    acid_brings(treatment.acid_key, treatment.strength_pct, treatment.product_l)
    with unit_of_work(write=True) as unit:
        today = today_at_block(unit, treatment.block_id, clock.now())
        refuse_coming_day(TITLE, treatment.day, today=today)
        key = unit.blocks.get_block_key(treatment.block_id)
        before = _treatment_of(unit, key, treatment.day)
        outcome = unit.waterworks.save_acid_treatment(key, treatment, recorded_at=clock.now())
        farm_id = unit.blocks.get_farm_of(treatment.block_id).farm_id
        unit.audit.note(
            Subject.ACID, treatment.block_id, farm_id=farm_id, before=before, after=treatment
        )
        return outcome


def remove_acid(block_id: str, *, day: date, unit_of_work: UnitOfWorkFactory) -> None:
    """Delete the acid of a day; raises NotFound if there is none."""
    with unit_of_work(write=True) as unit:
        key = unit.blocks.get_block_key(block_id)
        before = _treatment_of(unit, key, day)
        if not unit.waterworks.remove_acid_treatment(key, day=day):
            raise NotFound(f"block {block_id} was given no acid on {day}")
        farm_id = unit.blocks.get_farm_of(block_id).farm_id
        unit.audit.note(Subject.ACID, block_id, farm_id=farm_id, before=before)


def _treatment_of(unit: UnitOfWork, block_key: int, day: date) -> AcidTreatment | None:
    found = unit.waterworks.list_acid_treatments(block_key, first_day=day, last_day=day)
    return next(iter(found), None)


def list_acid(block_id: str, *, on: date, unit_of_work: UnitOfWorkFactory) -> GivenAcid:
    """The acid of the calendar year up to a day."""
    with unit_of_work(write=False) as unit:
        return given_acid(unit, block_id, first_day=on.replace(month=1, day=1), last_day=on)


def given_acid(unit: UnitOfWork, block_id: str, *, first_day: date, last_day: date) -> GivenAcid:
    """The acid of a span, added up over the block's ground as of its last day."""
    key = unit.blocks.get_block_key(block_id)
    block = unit.blocks.get_block(block_id, day=last_day)
    treatments = tuple(
        unit.waterworks.list_acid_treatments(key, first_day=first_day, last_day=last_day)
    )
    brought = [acid_brings(each.acid_key, each.strength_pct, each.product_l) for each in treatments]
    per_ha = M2_PER_HECTARE / block.area_m2
    nutrients: dict[str, float] = {}
    for each in brought:
        if each.nutrient is not None:
            so_far = nutrients.get(each.nutrient, 0.0)
            nutrients[each.nutrient] = so_far + each.nutrient_kg * per_ha
    return GivenAcid(
        first_day,
        last_day,
        treatments,
        AcidAmount(
            sum(each.amount.product_kg for each in brought),
            sum(each.product_l for each in treatments),
        ),
        nutrients,
        sum(each.carbonate_kg for each in brought) * per_ha,
    )
