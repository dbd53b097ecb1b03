"""Taking a farm in: all of it or nothing, and the same again changes nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from service.bootstrap import Service
from service.database.plan_store import PLANS_TOPIC
from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.operations.farms.manage_farms import load_bundle
from service.records.controllers import ChannelDefinition, ControllerDefinition
from service.records.farms import FarmBundle, LoadOutcome
from service.records.mail import Person
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, TODAY
from tests.scheduled_farms import FixedClock
from tests.stored_farms import stored_block, stored_bundle, stored_county, stored_site

NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
DAY = date(2026, 7, 1)
ANA = Person(mail_address="ana@example.org", name="Ana")
CONTROLLER = ControllerDefinition(
    controller_id="orchard.shed",
    farm_id="orchard",
    name="Shed",
    channels=(ChannelDefinition(channel=1, block_id="orchard.north"),),
)


def load(open_unit: UnitOfWorkFactory, bundle: FarmBundle, *, day: date = DAY) -> LoadOutcome:
    return load_bundle(bundle, effective_day=day, unit_of_work=open_unit, clock=FixedClock(NOW))


def full_bundle() -> FarmBundle:
    """Two blocks, a county, a controller and a reader."""
    blocks = (stored_block(), stored_block("orchard.south"))
    return stored_bundle(*blocks, controllers=(CONTROLLER,), people=(ANA,))


def test_a_farm_is_stored_with_its_controllers_and_people(open_unit: UnitOfWorkFactory) -> None:
    outcome = load(open_unit, full_bundle())
    assert outcome.created_count > 0
    assert (outcome.changed_count, outcome.unchanged_count, outcome.retired_count) == (0, 0, 0)
    with open_unit(write=False) as unit:
        stored = unit.blocks.get_bundle("orchard", day=DAY)
        assert stored.blocks == full_bundle().blocks
        assert [each.person for each in unit.people.list_people(farm_id="orchard")] == [ANA]
        (controller,) = unit.controllers.list_controllers("orchard")
        assert controller.definition == CONTROLLER


def test_the_same_farm_again_is_counted_as_unchanged(open_unit: UnitOfWorkFactory) -> None:
    first = load(open_unit, full_bundle())
    again = load(open_unit, full_bundle(), day=DAY + timedelta(days=9))
    assert (again.created_count, again.changed_count, again.retired_count) == (0, 0, 0)
    assert again.unchanged_count == first.created_count
    with open_unit(write=False) as unit:
        assert unit.blocks.get_block("orchard.north", day=DAY).block_id == "orchard.north"


def test_a_changed_block_counts_from_the_day_given_on(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, full_bundle())
    later = DAY + timedelta(days=5)
    changed = stored_bundle(
        stored_block(area_m2=777.0),
        stored_block("orchard.south"),
        controllers=(CONTROLLER,),
        people=(ANA,),
    )
    assert load(open_unit, changed, day=later).changed_count == 1
    with open_unit(write=False) as unit:
        areas = [
            unit.blocks.get_block("orchard.north", day=day).area_m2
            for day in (later - timedelta(days=1), later)
        ]
    assert areas == [stored_block().area_m2, 777.0]


def test_a_block_that_is_left_out_is_retired_with_its_controller(
    open_unit: UnitOfWorkFactory,
) -> None:
    load(open_unit, full_bundle())
    later = DAY + timedelta(days=5)
    outcome = load(open_unit, stored_bundle(stored_block("orchard.south")), day=later)
    assert outcome.retired_count == 2
    with open_unit(write=False) as unit:
        blocks = unit.blocks.get_bundle("orchard", day=later).blocks
        assert [block.block_id for block in blocks] == ["orchard.south"]
        assert unit.controllers.list_controllers("orchard") == []


def test_a_farm_whose_last_part_cannot_be_stored_is_not_stored_at_all(
    open_unit: UnitOfWorkFactory,
) -> None:
    nowhere = ChannelDefinition(channel=1, block_id="orchard.nowhere")
    broken = replace(full_bundle(), controllers=(replace(CONTROLLER, channels=(nowhere,)),))
    with pytest.raises(NotFound, match=r"orchard\.nowhere"):
        load(open_unit, broken)
    with open_unit(write=False) as unit:
        assert unit.blocks.list_farms() == []
        assert unit.blocks.read_site_table().definitions == ()
        assert unit.people.list_people() == []


def test_counties_are_taken_in_without_any_farm(open_unit: UnitOfWorkFactory) -> None:
    region = FarmBundle(farm=None, sites=(stored_site(),), counties=(stored_county(),))
    assert load(open_unit, region).created_count == 2
    assert load(open_unit, region).unchanged_count == 2
    with open_unit(write=False) as unit:
        assert unit.blocks.list_counties() == [stored_county()]
        assert unit.blocks.list_farms() == []


def test_rendered_plans_are_rendered_again_only_after_a_change(
    own_service: Service,
) -> None:
    def written_out() -> tuple[bool, int]:
        with own_service.unit_of_work(write=False) as unit:
            text = unit.texts.find(BLOCK_ID, day=PLAN_DAY)
            return text is not None, unit.marks.read_all().get(PLANS_TOPIC, 0)

    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    is_written, mark = written_out()
    assert is_written
    load(own_service.unit_of_work, bundle, day=TODAY)
    assert written_out() == (True, mark)
    renamed = tuple(replace(block, name="Another name") for block in bundle.blocks)
    load(own_service.unit_of_work, replace(bundle, blocks=renamed), day=TODAY)
    assert written_out() == (False, mark + 1)
