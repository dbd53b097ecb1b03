"""Weather brought for a site: stored once, and what it changes reopens the ledgers."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest

from service.agronomy.records import Days
from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.operations.weather.import_weather import import_weather
from service.records.farms import LoadOutcome
from service.records.weather import WeatherRows
from tests.operations.weather.settled_ledger import settle, settled_day
from tests.scheduled_farms import FixedClock
from tests.stored_farms import days, stored_bundle, stored_site

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)
DAYS = days("2026-07-07", "2026-07-08", "2026-07-09")


@pytest.fixture
def with_farm(open_unit: UnitOfWorkFactory) -> UnitOfWorkFactory:
    """A farm at a site with its anemometer at 3 m."""
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            stored_bundle(sites=(stored_site(wind_height_m=3.0),)),
            effective_day=date(2026, 6, 1),
            recorded_at=NOW,
        )
    return open_unit


def bring(
    open_unit: UnitOfWorkFactory, at: Days = DAYS, *, warmer_c: float = 0.0, **changes: Any
) -> LoadOutcome:
    facts: dict[str, Any] = {"source": "import", "forecast_from": None, **changes}
    return import_weather(
        facts.pop("site_id", "hollow"),
        at,
        {"tmax_c": np.full(at.size, 30.0 + warmer_c), "tmin_c": np.full(at.size, 18.0)},
        unit_of_work=open_unit,
        clock=FixedClock(NOW),
        **facts,
    )


def stored(open_unit: UnitOfWorkFactory) -> WeatherRows:
    with open_unit(write=False) as unit:
        keys = unit.blocks.read_site_table().keys
        return unit.weather.read_rows(keys, first_day=date(2026, 7, 1), last_day=date(2026, 7, 31))


def test_each_day_is_one_row_that_names_its_source_and_the_sites_wind_height(
    with_farm: UnitOfWorkFactory,
) -> None:
    assert bring(with_farm).created_count == 3
    rows = stored(with_farm)
    assert rows.days.tolist() == DAYS.tolist()
    assert set(rows.sources) == {"import"} and set(rows.kinds) == {"observed"}
    assert set(rows.issued_at) == {NOW}
    assert rows.wind_height_m.tolist() == [3.0] * 3
    assert rows.fields["tmax_c"].tolist() == [30.0] * 3
    assert np.isnan(rows.fields["rain_mm"]).all()


def test_days_from_the_forecast_on_are_no_observations(with_farm: UnitOfWorkFactory) -> None:
    bring(with_farm, forecast_from=date(2026, 7, 9))
    assert stored(with_farm).kinds == ("observed", "observed", "forecast")


def test_the_same_days_again_change_nothing_and_leave_the_ledger_settled(
    with_farm: UnitOfWorkFactory,
) -> None:
    bring(with_farm)
    settle(with_farm)
    again = bring(with_farm)
    assert (again.created_count, again.changed_count, again.unchanged_count) == (0, 0, 3)
    assert settled_day(with_farm) == date(2026, 7, 9)


def test_a_day_that_became_warmer_reopens_the_ledger_from_there_on(
    with_farm: UnitOfWorkFactory,
) -> None:
    bring(with_farm)
    settle(with_farm)
    assert bring(with_farm, DAYS[1:], warmer_c=2.0).changed_count == 2
    assert settled_day(with_farm) == date(2026, 7, 7)


def test_a_forecast_reopens_no_ledger(with_farm: UnitOfWorkFactory) -> None:
    settle(with_farm)
    assert bring(with_farm, warmer_c=2.0, forecast_from=date(2026, 7, 1)).created_count == 3
    assert settled_day(with_farm) == date(2026, 7, 9)


def test_weather_of_a_site_that_is_not_stored_is_refused_whole(
    with_farm: UnitOfWorkFactory,
) -> None:
    with pytest.raises(NotFound, match="nowhere"):
        bring(with_farm, site_id="nowhere")
    assert len(stored(with_farm)) == 0
