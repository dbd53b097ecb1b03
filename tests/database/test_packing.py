"""Old plans packed and thinned: what they say is as before, on every database."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import select

from service.agronomy.records import Ints
from service.database.packing import MODEL_SERVES, pack, unpack
from service.database.session import UnitOfWorkFactory
from service.database.tables import plan, weather_basis
from service.records.plan_reasoning import read_reasoning
from service.records.plans import PublishedPlan
from tests.database.stored_plans import (
    DAY,
    NOW,
    SOON,
    make_plans,
    publish,
    save_basis,
    weather_document,
)

LATER = DAY + timedelta(days=30)


def filled(open_unit: UnitOfWorkFactory, keys: Ints, days: list[int]) -> None:
    """A plan of each block and its weather, so many days after the first."""
    for day in days:
        on = DAY + timedelta(days=day)
        basis = save_basis(open_unit, weather_document(et0_mm=5.0 + 0.01 * day), day=on)
        publish(open_unit, make_plans(keys, basis, day=on, planned_min=60 + day))


def everything(open_unit: UnitOfWorkFactory, days: list[int]) -> list[PublishedPlan]:
    with open_unit(write=False) as unit:
        return [
            each for day in days for each in unit.plans.list_plans(day=DAY + timedelta(days=day))
        ]


def pack_all(open_unit: UnitOfWorkFactory, **kwargs: int) -> int:
    before = DAY + timedelta(**kwargs)
    with open_unit(write=True) as unit:
        count = unit.retention.pack(before=before)
        assert unit.retention.pack(before=before) == 0
    return count


@pytest.mark.parametrize("text", ["", "{}", '{"taw_mm":12.5,"né":"ü"}' * 40])
def test_a_packed_text_comes_back(text: str) -> None:
    model = '{"taw_mm":12.1,"né":"u"}'
    assert unpack(pack(text, model), model) == text


def test_a_text_like_its_model_packs_to_little() -> None:
    numbers = {f"quantity_{index}_mm": index / 7.0 for index in range(100)}
    text, model = str({**numbers, "quantity_3_mm": 1.25}), str(numbers)
    assert len(pack(text, model)) < len(text) / 20


def test_plans_say_the_same_once_they_are_packed(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    days = [1, 2, 3, 40]
    filled(open_unit, keys, days)
    before = everything(open_unit, days)
    # Two blocks on three days, the weather of those days, and that of the first day.
    assert pack_all(open_unit, days=30) == 2 * 3 + 4
    assert everything(open_unit, days) == before
    with open_unit(write=False) as unit:
        in_force = unit.plans.read_in_force(keys, day=DAY + timedelta(days=2))
    assert in_force.planned_min.tolist() == [62.0, 62.0]
    assert in_force.need_mm.shape == keys.shape


def test_a_model_serves_for_a_year(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    days = [1, 2, 1 + MODEL_SERVES.days, 2 + MODEL_SERVES.days]
    filled(open_unit, keys[:1], days)
    pack_all(open_unit, days=2)
    pack_all(open_unit, days=2 * MODEL_SERVES.days)
    with open_unit(write=False) as unit:
        rows = unit.plans._connection.execute(
            select(plan.c.plan_key, plan.c.model_key, plan.c.numbers, plan.c.packed).order_by(
                plan.c.day
            )
        ).all()
    first, second, third, fourth = rows
    assert (first.model_key, second.model_key) == (first.plan_key, first.plan_key)
    assert (third.model_key, fourth.model_key) == (third.plan_key, third.plan_key)
    assert [row.packed is None for row in rows] == [True, False, True, False]
    assert [row.numbers == "" for row in rows] == [False, True, False, True]


def test_superseded_versions_go_and_what_was_in_force_stays(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    filled(open_unit, keys, [1, 2])
    on = DAY + timedelta(days=2)
    other = save_basis(open_unit, weather_document(et0_mm=9.0), day=on)
    publish(open_unit, make_plans(keys, other, day=on, planned_min=5, digest="second"), at=SOON)
    before = everything(open_unit, [1, 2])
    with open_unit(write=True) as unit:
        assert unit.retention.thin(before=on) == 0
        assert unit.retention.thin(before=LATER) == keys.size
        assert unit.retention.thin(before=LATER) == 0
    assert everything(open_unit, [1, 2]) == before
    with open_unit(write=False) as unit:
        assert unit.plans.find_plan("orchard.north", day=on, version=1) is None
        left = unit.plans._connection.execute(
            select(weather_basis.c.day).where(weather_basis.c.day == on)
        ).all()
    assert len(left) == 1  # that of the version that is gone went with it


def test_a_version_that_others_are_packed_by_stays(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    publish(open_unit, make_plans(keys, basis_key, planned_min=5, digest="second"), at=SOON)
    pack_all(open_unit, days=1)
    with open_unit(write=True) as unit:
        assert unit.retention.thin(before=LATER) == 0
        found = unit.plans.find_plan("orchard.north", day=DAY)
    assert found is not None and found.issued_at == SOON > NOW
    assert found.reasoning == read_reasoning(b'{"taw_mm":12.5}')
