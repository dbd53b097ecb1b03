"""What every BlockStore does, whatever is behind it."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, select

from service.agronomy.records import CurveDefinition, NoWaterPeriod, WallWindow
from service.database.block_versions import in_force
from service.database.session import UnitOfWorkFactory
from service.database.tables import block_version
from service.errors import Conflict, InputInvalid, NotFound
from service.records.farms import (
    BLOCK_NUMBERS,
    BlockDefinition,
    FarmBundle,
    LoadOutcome,
    typed_numbers,
)
from tests.stored_farms import (
    day_after,
    ints,
    stored_block,
    stored_bundle,
    stored_county,
    stored_farm,
    stored_site,
    stored_supply,
)

DAY = date(2026, 7, 1)
LATER = day_after(DAY, 5)
NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)


def load(open_unit: UnitOfWorkFactory, bundle: FarmBundle, *, day: date = DAY) -> LoadOutcome:
    with open_unit(write=True) as unit:
        return unit.blocks.save_bundle(bundle, effective_day=day, recorded_at=NOW)


def get_block(open_unit: UnitOfWorkFactory, block_id: str, *, day: date) -> BlockDefinition:
    with open_unit(write=False) as unit:
        return unit.blocks.get_block(block_id, day=day)


def same(left: BlockDefinition, right: BlockDefinition) -> bool:
    """Equal in every field, NaN counting as equal to NaN."""
    blank: dict[str, Any] = dict.fromkeys(BLOCK_NUMBERS, 0.0)
    return replace(left, **blank) == replace(right, **blank) and all(
        np.array_equal(getattr(left, name), getattr(right, name), equal_nan=True)
        for name in BLOCK_NUMBERS
    )


def test_a_farm_comes_back_as_it_was_stored(open_unit: UnitOfWorkFactory) -> None:
    block = stored_block(
        planting_year=math.nan,
        balance_start=date(2026, 5, 1),
        curve=CurveDefinition(
            basis="table", season_start=(2, 1), points=((2, 15, 0.4), (6, 1, 1.05))
        ),
        no_water=(
            NoWaterPeriod(
                starts_local=datetime.fromisoformat("2026-08-01T06:00"),
                ends_local=datetime.fromisoformat("2026-08-09T18:30"),
                reason="harvest",
            ),
        ),
    )
    bundle = stored_bundle(block)
    outcome = load(open_unit, bundle)
    assert outcome == LoadOutcome(created_count=5, changed_count=0, unchanged_count=0)

    with open_unit(write=False) as unit:
        found = unit.blocks.get_bundle("orchard", day=DAY)
        assert unit.blocks.list_counties() == [stored_county()]
        assert unit.blocks.list_farms() == [stored_farm()]
    assert found.farm == bundle.farm
    assert found.sites == bundle.sites
    assert found.supplies == bundle.supplies
    assert len(found.blocks) == 1
    assert same(found.blocks[0], block)


def test_loading_twice_changes_nothing(open_unit: UnitOfWorkFactory) -> None:
    bundle = stored_bundle(
        stored_block(initial_depletion_mm=math.nan), stored_block("orchard.south")
    )
    load(open_unit, bundle)
    for day in (DAY, LATER):
        assert load(open_unit, bundle, day=day) == LoadOutcome(0, 0, 6)


def test_a_farm_read_back_and_loaded_again_changes_nothing(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, stored_bundle(stored_block(curve_number=math.nan)))
    with open_unit(write=False) as unit:
        found = unit.blocks.get_bundle("orchard", day=DAY)
    outcome = load(open_unit, found)
    assert (outcome.created_count, outcome.changed_count, outcome.retired_count) == (0, 0, 0)


@pytest.mark.parametrize(
    "changes",
    [
        {"name": "Renamed"},
        {"crop_key": "peach"},
        {"kc_mid": 1.2},
        {"curve_number": math.nan},
        {"windows": (WallWindow(0, 1440),)},
        {"balance_start": date(2026, 6, 1)},
        {"origins": {"area_m2": "given"}},
        {"supply_id": "canal"},
        {"site_id": "ridge"},
    ],
    ids=str,
)
def test_any_change_to_a_block_makes_a_version(
    open_unit: UnitOfWorkFactory, changes: dict[str, Any]
) -> None:
    around = {
        "sites": (stored_site(), stored_site("ridge")),
        "supplies": (stored_supply(), stored_supply("canal")),
    }
    load(open_unit, stored_bundle(stored_block(), **around))
    changed = stored_block(**changes)
    outcome = load(open_unit, stored_bundle(changed, **around), day=LATER)
    assert (outcome.created_count, outcome.changed_count) == (0, 1)
    assert same(get_block(open_unit, "orchard.north", day=day_after(LATER, -1)), stored_block())
    assert same(get_block(open_unit, "orchard.north", day=LATER), changed)


def test_the_version_recorded_last_counts_on_a_day_that_two_claim(
    open_unit: UnitOfWorkFactory,
) -> None:
    load(open_unit, stored_bundle(stored_block(kc_mid=0.9)))
    load(open_unit, stored_bundle(stored_block(kc_mid=1.0)), day=LATER)
    load(open_unit, stored_bundle(stored_block(kc_mid=1.1)), day=day_after(DAY))
    found = [get_block(open_unit, "north", day=day_after(DAY, n)).kc_mid for n in range(7)]
    assert found == [0.9, *[1.1] * 6]


def test_loading_what_holds_now_undoes_a_change_planned_for_later(
    open_unit: UnitOfWorkFactory,
) -> None:
    load(open_unit, stored_bundle(stored_block(kc_mid=0.9)))
    load(open_unit, stored_bundle(stored_block(kc_mid=1.0)), day=LATER)
    outcome = load(open_unit, stored_bundle(stored_block(kc_mid=0.9)), day=day_after(DAY))
    assert outcome.changed_count == 1
    assert get_block(open_unit, "north", day=LATER).kc_mid == 0.9


def test_a_block_is_not_in_force_before_its_first_version(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, stored_bundle())
    with pytest.raises(NotFound, match="not in force on 2026-06-30"):
        get_block(open_unit, "orchard.north", day=day_after(DAY, -1))
    with open_unit(write=False) as unit:
        assert unit.blocks.list_blocks(farm_id=None, day=day_after(DAY, -1)) == []


def test_a_block_that_the_bundle_no_longer_holds_is_retired(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, stored_bundle(stored_block(), stored_block("orchard.south")))
    only_north = stored_bundle(stored_block())
    assert load(open_unit, only_north, day=LATER).retired_count == 1
    assert load(open_unit, only_north, day=LATER).retired_count == 0

    with open_unit(write=False) as unit:
        before = unit.blocks.list_blocks(farm_id="orchard", day=day_after(LATER, -1))
        after = unit.blocks.list_blocks(farm_id="orchard", day=LATER)
        assert [each.block_id for each in before] == ["orchard.north", "orchard.south"]
        assert [each.block_id for each in after] == ["orchard.north"]
        assert unit.blocks.get_block_key("orchard.south") > 0
        keys = ints(*unit.blocks.farm_keys().values())
        table = unit.blocks.read_block_table(LATER, farm_keys=keys)
        assert table.block_ids == ("orchard.north",)


def test_a_retired_block_can_come_back(open_unit: UnitOfWorkFactory) -> None:
    both = stored_bundle(stored_block(), stored_block("orchard.south"))
    load(open_unit, both)
    load(open_unit, stored_bundle(stored_block()), day=LATER)
    back = day_after(LATER, 3)
    assert load(open_unit, both, day=back).changed_count == 1
    with pytest.raises(NotFound):
        get_block(open_unit, "south", day=day_after(back, -1))
    assert same(get_block(open_unit, "south", day=back), stored_block("orchard.south"))


def test_a_supply_that_is_gone_stays_readable_for_past_blocks(
    open_unit: UnitOfWorkFactory,
) -> None:
    load(open_unit, stored_bundle(supplies=(stored_supply(), stored_supply("canal"))))
    load(open_unit, stored_bundle(), day=LATER)
    with open_unit(write=False) as unit:
        then = unit.blocks.get_bundle("orchard", day=DAY).supplies
        now = unit.blocks.get_bundle("orchard", day=LATER).supplies
        keys = ints(*unit.blocks.farm_keys().values())
        assert [each.supply_id for each in then] == ["canal", "well"]
        assert [each.supply_id for each in now] == ["well"]
        assert set(unit.blocks.read_supply_table(keys).supply_ids) == {"canal", "well"}


def test_changed_sites_supplies_and_counties_are_counted(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, stored_bundle())
    outcome = load(
        open_unit,
        stored_bundle(
            sites=(stored_site(elevation_m=90.0),),
            supplies=(stored_supply(flow_l_per_h=1.0),),
            counties=(stored_county(name="Other"),),
            farm=stored_farm(unit_system="si"),
        ),
    )
    assert outcome == LoadOutcome(created_count=0, changed_count=4, unchanged_count=1)


def test_sites_and_counties_need_no_farm(open_unit: UnitOfWorkFactory) -> None:
    bundle = FarmBundle(farm=None, sites=(stored_site(),), counties=(stored_county(),))
    assert load(open_unit, bundle) == LoadOutcome(2, 0, 0)
    assert load(open_unit, bundle) == LoadOutcome(0, 0, 2)


def test_a_bundle_cannot_touch_another_farm(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(InputInvalid, match=r"block meadow\.east"):
        load(open_unit, stored_bundle(stored_block("meadow.east")))
    with pytest.raises(InputInvalid, match="the bundle has no farm"):
        load(open_unit, FarmBundle(farm=None, supplies=(stored_supply(),)))


def test_a_block_twice_in_a_bundle_is_refused(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(Conflict, match=r"orchard\.north"):
        load(open_unit, stored_bundle(stored_block(), stored_block(kc_mid=0.5)))


@pytest.mark.parametrize(
    "bundle",
    [
        stored_bundle(stored_block(site_id="nowhere")),
        stored_bundle(stored_block(supply_id="nowhere")),
        stored_bundle(counties=(stored_county(site_id="nowhere"),)),
    ],
    ids=["site of a block", "supply of a block", "site of a county"],
)
def test_a_bundle_that_refers_to_nothing_is_refused_whole(
    open_unit: UnitOfWorkFactory, bundle: FarmBundle
) -> None:
    with pytest.raises(NotFound, match="'nowhere'"):
        load(open_unit, bundle)
    with open_unit(write=False) as unit:
        assert unit.blocks.list_farms() == []
        assert unit.blocks.read_site_table().definitions == ()


def test_two_farms_may_use_the_same_supply_name(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, stored_bundle())
    meadow = stored_bundle(
        stored_block("meadow.east"),
        farm=stored_farm("meadow"),
        supplies=(stored_supply("well", "meadow"),),
    )
    outcome = load(open_unit, meadow)
    assert outcome.created_count == 3  # farm, supply, block; site and county are shared
    assert outcome.retired_count == 0
    with open_unit(write=False) as unit:
        assert [each.farm_id for each in unit.blocks.list_farms()] == ["meadow", "orchard"]
        found = unit.blocks.list_blocks(farm_id=None, day=DAY)
        assert [each.block_id for each in found] == ["meadow.east", "orchard.north"]


def test_the_part_after_the_dot_names_a_block_where_it_is_unique(
    open_unit: UnitOfWorkFactory,
) -> None:
    load(open_unit, stored_bundle(stored_block(), stored_block("orchard.south")))
    meadow = stored_bundle(
        stored_block("meadow.north"),
        farm=stored_farm("meadow"),
        supplies=(stored_supply("well", "meadow"),),
    )
    load(open_unit, meadow)
    assert get_block(open_unit, "south", day=DAY).block_id == "orchard.south"
    with pytest.raises(NotFound, match=r"meadow\.north, orchard\.north"):
        get_block(open_unit, "north", day=DAY)
    with pytest.raises(NotFound, match="no such block"):
        get_block(open_unit, "west", day=DAY)


def test_unknown_names_are_not_found(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=False) as unit:
        with pytest.raises(NotFound, match="'nobody'"):
            unit.blocks.get_bundle("nobody", day=DAY)
        with pytest.raises(NotFound, match="'nobody'"):
            unit.blocks.farm_keys(["nobody"])
        with pytest.raises(NotFound, match="'nobody'"):
            unit.blocks.list_blocks(farm_id="nobody", day=DAY)
        with pytest.raises(NotFound, match="'nowhere'"):
            unit.blocks.get_site_key("nowhere")


def test_the_block_table_holds_what_the_definitions_hold(open_unit: UnitOfWorkFactory) -> None:
    blocks = [
        stored_block(f"orchard.b{n}", kc_mid=n / 8.0, planting_year=math.nan) for n in range(9)
    ]
    load(open_unit, stored_bundle(*blocks))
    with open_unit(write=False) as unit:
        keys = ints(*unit.blocks.farm_keys().values())
        table = unit.blocks.read_block_table(DAY, farm_keys=keys)
        site_key = unit.blocks.get_site_key("hollow")
    assert table.block_ids == tuple(each.block_id for each in blocks)
    assert (np.diff(table.keys) > 0).all()
    assert (table.site_keys == site_key).all()
    for name in BLOCK_NUMBERS:
        np.testing.assert_array_equal(
            table.numbers[name], [getattr(each, name) for each in blocks], err_msg=name
        )
    assert table.curves == (blocks[0].curve,) * 9
    assert all(each is table.curves[0] for each in table.curves)
    assert table.windows == (blocks[0].windows,) * 9
    assert table.no_water == ((),) * 9
    assert np.isnat(table.balance_start).all()
    assert (table.valid_from == np.datetime64(DAY)).all()


def test_the_block_table_holds_the_farms_asked_for(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, stored_bundle())
    meadow = stored_bundle(
        stored_block("meadow.east"),
        farm=stored_farm("meadow"),
        supplies=(stored_supply("well", "meadow"),),
    )
    load(open_unit, meadow)
    with open_unit(write=False) as unit:
        keys = unit.blocks.farm_keys()
        for asked in (["meadow"], ["orchard"], ["meadow", "orchard"], []):
            chosen = ints(*(keys[name] for name in asked))
            table = unit.blocks.read_block_table(DAY, farm_keys=chosen)
            assert {name.partition(".")[0] for name in table.block_ids} == set(asked)
            assert unit.blocks.count_blocks(chosen, day=DAY) == dict.fromkeys(chosen.tolist(), 1)
        none_yet = unit.blocks.count_blocks(ints(keys["meadow"]), day=day_after(DAY, -1))
        assert none_yet == {keys["meadow"]: 0}


def test_version_days_are_those_inside_the_span(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, stored_bundle(stored_block(), stored_block("orchard.south")))
    load(
        open_unit, stored_bundle(stored_block(kc_mid=1.2), stored_block("orchard.south")), day=LATER
    )
    last = day_after(LATER, 5)
    load(open_unit, stored_bundle(stored_block(kc_mid=1.2)), day=last)
    with open_unit(write=False) as unit:
        keys = ints(*unit.blocks.farm_keys().values())

        def between(first_day: date, last_day: date) -> list[date]:
            return unit.blocks.list_version_days(keys, first_day=first_day, last_day=last_day)

        assert between(DAY, last) == [DAY, LATER, last]
        assert between(day_after(DAY), LATER) == [LATER]
        assert between(day_after(DAY), day_after(LATER, -1)) == []
        assert unit.blocks.list_version_days(ints(), first_day=DAY, last_day=last) == []


def test_sites_are_read_by_key_in_order(open_unit: UnitOfWorkFactory) -> None:
    sites = (
        stored_site(),
        stored_site("ridge", normals=None),
        stored_site("dale", elevation_m=3.0),
    )
    load(open_unit, stored_bundle(sites=sites))
    with open_unit(write=False) as unit:
        every = unit.blocks.read_site_table()
        assert every.definitions == sites
        assert every.keys.tolist() == [unit.blocks.get_site_key(each.site_id) for each in sites]
        some = unit.blocks.read_site_table(every.keys[[2, 0]])
        assert some.definitions == (sites[0], sites[2])


finite = st.floats(allow_nan=True, allow_infinity=False)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(numbers=st.lists(finite, min_size=len(BLOCK_NUMBERS), max_size=len(BLOCK_NUMBERS)))
def test_every_float_comes_back_to_the_last_bit(
    open_unit: UnitOfWorkFactory, numbers: list[float]
) -> None:
    codes = {"texture_group": 1.0, "risk_attitude": 2.0}
    drawn = dict(zip(BLOCK_NUMBERS, numbers, strict=True)) | codes
    block = stored_block(**typed_numbers(drawn))
    load(open_unit, stored_bundle(block))
    assert same(get_block(open_unit, "orchard.north", day=DAY), block)
    assert load(open_unit, stored_bundle(block)).unchanged_count == 5


@pytest.mark.parametrize("farm_id", ["or\0chard", "orchard\0", "\0"])
def test_a_farm_with_a_nul_in_its_name_is_not_there(
    open_unit: UnitOfWorkFactory, farm_id: str
) -> None:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=DAY, recorded_at=NOW)
    with open_unit(write=False) as unit, pytest.raises(NotFound):
        unit.blocks.get_farm(farm_id)


def test_versions_in_force_are_found_without_working_each_out(
    open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    # Of a table that was just filled PostgreSQL knows nothing. A greatest version in a subquery was
    # worked out for every block of the region then, once for each that was asked for.
    if engine.dialect.name != "postgresql":
        return
    load(open_unit, stored_bundle())
    query = in_force(select(block_version.c.block_key, block_version.c.version), DAY)
    text = query.compile(engine, compile_kwargs={"literal_binds": True})
    with engine.connect() as connection:
        steps = connection.exec_driver_sql(f"EXPLAIN {text}").scalars().all()
    assert any("Anti Join" in step for step in steps), steps
    assert not any("SubPlan" in step for step in steps), steps
