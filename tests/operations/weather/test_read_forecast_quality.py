"""How good forecasts were, and what is flagged instead of guessed. All of it is invented."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from service.agronomy.records import Floats
from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.operations.weather.read_forecast_quality import read_forecast_quality
from service.records.forecast_quality import ArchiveFlag, SiteQuality, SourceQuality, Truth
from service.records.forecasts import ForecastPlace
from tests.operations.weather.forecast_days import lead_rows, site_key_of, truth_rows
from tests.scheduled_farms import FixedClock
from tests.stored_farms import stored_bundle

NOW = datetime(2026, 9, 1, 23, 30, tzinfo=UTC)
TODAY = date(2026, 9, 1)
COUNT = 60
DAYS = [TODAY - timedelta(days=back) for back in range(COUNT, 0, -1)]
AHEAD = [TODAY + timedelta(days=1)]
ROW = np.arange(COUNT)
FELL = np.where(ROW % 3 == 0, 6.0, 0.0)
WARM = 30.0 + 3.0 * np.sin(ROW)
ET0 = 5.0 + np.sin(ROW)


def half_wrong() -> Floats:
    """Rain forecast with errors: too much on wet days, some on every ninth dry day."""
    return np.where(FELL > 0.0, FELL + 2.0, np.where(ROW % 9 == 1, 3.0, 0.0))


@pytest.fixture(autouse=True)
def place(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=DAYS[0], recorded_at=NOW)
    begin(open_unit, DAYS[0] - timedelta(days=10))


def begin(open_unit: UnitOfWorkFactory, day: date, *, has_moved: bool = False) -> None:
    key = site_key_of(open_unit)
    with open_unit(write=True) as unit:
        unit.forecasts.save_places([ForecastPlace(key, 36.5, -119.75, 84.0, day, has_moved)])


def issue(
    open_unit: UnitOfWorkFactory,
    days: list[date] = DAYS,
    *,
    leads: tuple[int, ...] = (1,),
    **facts: Any,
) -> None:
    key = site_key_of(open_unit)
    said = {"rain_mm": half_wrong(), "et0_mm": ET0 + 0.5, "tmax_c": WARM + 1.0, **facts}
    with open_unit(write=True) as unit:
        unit.forecasts.save_leads(lead_rows(key, days, leads=leads, **said))


def keep_issuing(open_unit: UnitOfWorkFactory, source: str = "invented-model") -> None:
    """The forecast of this evening, so that the source is in use."""
    issue(open_unit, AHEAD, source=source, rain_mm=0.0, et0_mm=5.0, tmax_c=30.0)


def observed(open_unit: UnitOfWorkFactory, days: list[date] = DAYS, **facts: Any) -> None:
    key = site_key_of(open_unit)
    said = {"rain_mm": FELL, "et0_mm": ET0, "tmax_c": WARM, **facts}
    with open_unit(write=True) as unit:
        unit.forecasts.save_truth(truth_rows(key, days, **said))


def quality(open_unit: UnitOfWorkFactory, farm_id: str | None = None) -> SiteQuality:
    (found,) = read_forecast_quality(
        ["hollow"], farm_id, unit_of_work=open_unit, clock=FixedClock(NOW),
        source_order={"other": 1, "invented-model": 2},
    )  # fmt: skip
    return found


def only_source(open_unit: UnitOfWorkFactory, farm_id: str | None = None) -> SourceQuality:
    (found,) = quality(open_unit, farm_id).sources
    return found


def test_scores_are_those_of_the_pairs_by_lead(open_unit: UnitOfWorkFactory) -> None:
    issue(open_unit, leads=(1, 2), rain_probability_fraction=np.where(FELL > 0.0, 0.8, 0.2))
    keep_issuing(open_unit)
    observed(open_unit)
    found = only_source(open_unit)
    assert (found.source, found.is_in_use, found.flags) == ("invented-model", True, ())
    assert [each.lead_days for each in found.leads] == [1, 2]
    assert (found.first_day, found.last_day) == (DAYS[0], DAYS[-1])
    error = half_wrong() - FELL
    for each in found.leads:
        assert each.rain.pair_count == COUNT
        assert each.rain.bias_mm == pytest.approx(error.mean())
        assert each.rain.mae_mm == pytest.approx(np.abs(error).mean())
        assert each.et0.bias_mm == pytest.approx(0.5)
        assert each.chance.brier == pytest.approx(0.04)
    assert found.last_useful_rain_lead_days == 2


def test_a_site_without_an_archive_says_so(open_unit: UnitOfWorkFactory) -> None:
    assert quality(open_unit).sources == ()
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=DAYS[0], recorded_at=NOW)
    with pytest.raises(NotFound):
        read_forecast_quality(
            ["nowhere"], None, unit_of_work=open_unit, clock=FixedClock(NOW), source_order={}
        )


def test_too_few_pairs_are_flagged_and_not_scored(open_unit: UnitOfWorkFactory) -> None:
    issue(open_unit, DAYS[:20], rain_mm=1.0, et0_mm=5.0, tmax_c=30.0)
    keep_issuing(open_unit)
    observed(open_unit)
    found = only_source(open_unit)
    assert ArchiveFlag.TOO_FEW in found.flags
    (lead,) = found.leads
    assert lead.rain.pair_count == 20 and np.isnan(lead.rain.mae_mm)


def test_where_anything_was_measured_models_do_not_count(open_unit: UnitOfWorkFactory) -> None:
    issue(open_unit)
    keep_issuing(open_unit)
    observed(open_unit, origin="analysis invented-model", rain_mm=half_wrong())
    assert only_source(open_unit).rain_truth is Truth.OWN_MODEL
    observed(open_unit, DAYS[:40], rain_mm=FELL[:40], et0_mm=ET0[:40], tmax_c=WARM[:40])
    found = only_source(open_unit)
    assert found.rain_truth is Truth.MEASURED
    assert found.leads[0].rain.pair_count == 40
    assert found.missing_observed_day_count == 20 and ArchiveFlag.GAPS in found.flags


def test_the_analysis_of_another_model_is_told_from_its_own(open_unit: UnitOfWorkFactory) -> None:
    issue(open_unit)
    keep_issuing(open_unit)
    observed(open_unit, origin="analysis other")
    found = only_source(open_unit)
    assert (found.rain_truth, found.et0_truth) == (Truth.OTHER_MODEL, Truth.OTHER_MODEL)
    assert found.leads[0].rain.pair_count == COUNT


def test_a_farms_gauge_counts_for_the_farm_alone(open_unit: UnitOfWorkFactory) -> None:
    issue(open_unit)
    keep_issuing(open_unit)
    observed(open_unit)
    with open_unit(write=False) as unit:
        farm_key = unit.blocks.farm_keys(["orchard"])["orchard"]
    observed(open_unit, rain_mm=half_wrong(), farm_key=farm_key, origin="observed gauge")
    assert only_source(open_unit, "orchard").leads[0].rain.mae_mm == 0.0
    assert only_source(open_unit).leads[0].rain.mae_mm > 1.0


def test_gaps_are_counted(open_unit: UnitOfWorkFactory) -> None:
    kept = np.delete(ROW, [10, 11, 30])
    issue(
        open_unit, [DAYS[row] for row in kept], rain_mm=half_wrong()[kept], et0_mm=ET0[kept],
        tmax_c=WARM[kept],
    )  # fmt: skip
    keep_issuing(open_unit)
    observed(open_unit)
    found = only_source(open_unit)
    assert found.flags == (ArchiveFlag.GAPS,)
    assert (found.missing_forecast_day_count, found.missing_observed_day_count) == (3, 0)


def test_a_moved_site_is_scored_from_its_new_place_on(open_unit: UnitOfWorkFactory) -> None:
    issue(open_unit)
    keep_issuing(open_unit)
    observed(open_unit)
    begin(open_unit, DAYS[20], has_moved=True)
    found = quality(open_unit)
    assert found.moved_on == DAYS[20]
    (source,) = found.sources
    assert ArchiveFlag.SITE_MOVED in source.flags
    assert source.first_day == DAYS[21]  # the first day issued for on the day of the move
    assert source.leads[0].rain.pair_count == COUNT - 21


def test_sources_that_were_switched_are_never_mixed(open_unit: UnitOfWorkFactory) -> None:
    issue(open_unit, DAYS[:30], source="other", rain_mm=FELL[:30], et0_mm=5.0, tmax_c=WARM[:30])
    rest = slice(30, COUNT)
    issue(open_unit, DAYS[30:], rain_mm=half_wrong()[rest], et0_mm=ET0[rest], tmax_c=WARM[rest])
    keep_issuing(open_unit)
    observed(open_unit)
    now, before = quality(open_unit).sources
    assert (now.source, now.is_in_use, before.is_in_use) == ("invented-model", True, False)
    assert ArchiveFlag.SOURCE_SWITCHED in now.flags
    assert ArchiveFlag.STOPPED in before.flags
    assert before.leads[0].rain.mae_mm == 0.0 and before.leads[0].rain.pair_count == 30
    assert now.leads[0].rain.mae_mm > 0.5


def test_of_two_running_sources_the_more_trusted_is_in_use(open_unit: UnitOfWorkFactory) -> None:
    for source in ("other", "invented-model"):
        issue(open_unit, source=source)
        keep_issuing(open_unit, source)
    observed(open_unit)
    first, second = quality(open_unit).sources
    assert (first.source, first.is_in_use) == ("invented-model", True)
    assert (second.source, second.is_in_use) == ("other", False)
    assert first.flags == second.flags == ()


@pytest.mark.parametrize(
    "changed",
    [
        {"tmax_c": np.where(ROW >= 30, WARM * 1.8 + 32.0, WARM)},
        {"rain_mm": np.where(ROW >= 30, FELL / 25.4, FELL)},
    ],
)
def test_a_changed_unit_is_flagged_and_nothing_is_scored(
    open_unit: UnitOfWorkFactory, changed: dict[str, Any]
) -> None:
    issue(open_unit, **changed)
    keep_issuing(open_unit)
    observed(open_unit)
    found = only_source(open_unit)
    assert ArchiveFlag.UNIT_CHANGED in found.flags and found.leads == ()
    assert found.unit_changed_on is not None
    assert abs((found.unit_changed_on - DAYS[30]).days) <= 3


def test_the_band_of_an_ensemble_is_held_against_what_fell(open_unit: UnitOfWorkFactory) -> None:
    issue(open_unit, rain_p10_mm=0.0, rain_p90_mm=5.0, et0_p10_mm=3.0, et0_p90_mm=7.0)
    keep_issuing(open_unit)
    observed(open_unit)
    (lead,) = only_source(open_unit).leads
    assert lead.rain.coverage_fraction == pytest.approx((FELL <= 5.0).mean())
    assert lead.et0.coverage_fraction == 1.0
