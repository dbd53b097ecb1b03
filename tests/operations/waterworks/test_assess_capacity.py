"""Whether a supply keeps up over summers: changes against the present supply, gaps left out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from service.agronomy.records import Days, Floats, WeeklyNoWater
from service.errors import InputInvalid, WeatherInvalid
from service.operations.waterworks.assess_capacity import Capacity, assess_capacity, run_count
from service.records.farms import FarmBundle
from tests.factories import make_supply
from tests.invented_summers import FIRST_YEAR, invented_farm, invented_weather


def summers(count: int) -> tuple[Days, dict[str, Floats]]:
    """The first of the invented years."""
    days, fields = invented_weather()
    some = days < np.datetime64(date(FIRST_YEAR + count, 1, 1))
    return days[some], {name: values[some] for name, values in fields.items()}


def assess_one(bundle: FarmBundle) -> Capacity:
    return assess_capacity(bundle, *summers(1))


def young_farm(planting_year: int | None) -> FarmBundle:
    """The invented farm with vines that grow for five years."""
    farm = invented_farm()
    year = np.nan if planting_year is None else float(planting_year)
    vines = tuple(
        replace(
            block,
            planting_year=year,
            years_to_full_size=5.0,
            canopy_is_scaled=True,
            canopy_height_is_scaled=True,
        )
        for block in farm.blocks
    )
    return replace(farm, blocks=vines)


def test_plants_count_in_every_summer_as_large_as_they_are_in_the_year_asked_for() -> None:
    days, fields = invented_weather()
    some = days < np.datetime64("2017-01-01")
    few = {name: values[some] for name, values in fields.items()}
    # Planted after all of these summers: the summers have the weather, not the plants.
    young, old, grown = (
        assess_capacity(young_farm(planted), days[some], few, season_year=2026).supplies[0]
        for planted in (2024, 2021, None)
    )
    assert [row.net_mm for row in old.peaks] == [row.net_mm for row in grown.peaks]
    week = [next(row for row in each.peaks if row.span_days == 7) for each in (young, old)]
    assert 0.2 * week[1].net_mm < week[0].net_mm < 0.9 * week[1].net_mm
    # Their full-size need is reported too while they grow.
    now = old.changes[0]
    assert "full-grown" not in {change.name for change in old.changes}
    full = next(change for change in young.changes if change.name == "full-grown")
    assert (full.kept_share, full.kept_by_block) == (now.kept_share, now.kept_by_block)


def test_a_bar_of_progress_is_full_at_the_end_with_plants_that_grow() -> None:
    days, fields = invented_weather()
    some = days < np.datetime64("2016-01-01")
    few = {name: values[some] for name, values in fields.items()}
    farm = young_farm(2024)
    pump = replace(farm.supplies[0], flow_l_per_h=9000.0)  # enough for a second line too
    seen: list[int] = []
    farm = replace(farm, supplies=(pump,))
    assess_capacity(farm, days[some], few, season_year=2026, progress=seen.append)
    assert seen[-1] == len(seen) == run_count(farm, days[some], 2026)


def test_a_year_with_a_gap_is_left_out_and_named() -> None:
    days, fields = invented_weather()
    gap = (days >= np.datetime64("2016-06-01")) & (days <= np.datetime64("2016-06-20"))
    broken = {
        name: np.where(gap, np.nan, values) if name in ("tmax_c", "tmin_c") else values
        for name, values in fields.items()
    }
    some = days <= np.datetime64("2017-12-31")
    found = assess_capacity(
        replace(invented_farm(), counties=()),
        days[some],
        {name: values[some] for name, values in broken.items()},
    )
    assert len(found.supplies[0].summers) == 3
    assert any("2016" in each for each in found.left_out)


def test_a_supply_without_blocks_is_left_out_and_one_supply_can_be_assessed_alone() -> None:
    farm = invented_farm()
    idle = make_supply("pond", farm_id=farm.supplies[0].farm_id)
    found = assess_one(replace(farm, supplies=(*farm.supplies, idle)))
    (supply,) = found.supplies
    assert supply.supply_id == "well"
    assert supply.area_ha == pytest.approx(0.2)
    assert supply.block_ids == ("invented.one", "invented.two")
    assert supply.open_time_h == pytest.approx(8.5)  # 08:00 to 16:30


def test_each_change_is_compared_with_the_present_supply() -> None:
    (supply,) = assess_one(invented_farm()).supplies
    names = [change.name for change in supply.changes]
    assert names == [
        "now", "pump-0.5", "pump-0.75", "pump-1.25", "pump-1.5", "pump-2", "windows-24-h",
        "second-line",
    ]  # fmt: skip
    smaller = [change for change in supply.changes if change.name in {"pump-0.5", "pump-0.75"}]
    # Neither can open the block, so no summer is scheduled with it.
    assert all(each.kept_share is None and "alone takes" in each.reason for each in smaller)
    others = [change for change in supply.changes[:-1] if change not in smaller]
    for change in others:
        assert change.kept_share in (0.0, 1.0)
        assert change.kept_share == min(change.kept_by_block)
    assert supply.changes[-1].kept_share is None and "gal/min" in supply.changes[-1].reason


def test_a_single_summer_is_cautioned_as_too_few() -> None:
    assert any(text.startswith("1 summer is few") for text in assess_one(invented_farm()).cautions)


def test_a_farm_without_blocks_or_weather_without_a_whole_summer_is_refused() -> None:
    with pytest.raises(InputInvalid, match="holds no block"):
        assess_one(replace(invented_farm(), blocks=()))
    days, fields = summers(1)
    spring = days < np.datetime64(date(FIRST_YEAR, 5, 1))
    few = {name: values[spring] for name, values in fields.items()}
    with pytest.raises(WeatherInvalid) as refused:
        assess_capacity(invented_farm(), days[spring], few)
    (fault,) = refused.value.faults
    assert (fault.where, fault.allowed) == ("weather", "at least one whole summer")


def test_weekly_hours_count_in_the_open_time_and_can_be_taken_away() -> None:
    farm = invented_farm()
    # Open from 08:00 to 16:30; from noon on closed from Monday to Friday: (5 x 4 + 2 x 8.5) / 7.
    peak = WeeklyNoWater((1, 2, 3, 4, 5), 12 * 60, 20 * 60, "peak tariff")
    pump = replace(farm.supplies[0], weekly_no_water=(peak,))
    days, fields = summers(1)
    seen: list[int] = []
    cut = replace(farm, supplies=(pump,))
    (supply,) = assess_capacity(cut, days, fields, progress=seen.append).supplies
    assert supply.open_time_h == pytest.approx(37.0 / 7.0)
    assert seen[-1] == run_count(cut, days)
    kept = {change.name: change.kept_share or 0.0 for change in supply.changes}
    assert kept["weekly-hours"] >= kept["now"]
