"""What stands for the members of an ensemble in the archive, against the members themselves."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest
import scoringrules

from service.agronomy.forecast_scores import score_amounts
from service.agronomy.records import Floats
from service.operations.weather.archive_members import archived_source, lead_rows
from service.operations.weather.archived_spread import archived_spread, quantiles_of
from service.records.forecast_members import StoredMembers

MEMBERS = 31
DAYS = 200


def issues(seed: int = 1) -> tuple[list[StoredMembers], Floats]:
    """Invented issues of one day ahead, and the rain that came: one more member each."""
    random = np.random.default_rng(seed)
    mean_mm = random.gamma(1.0, 4.0, (DAYS, 1))
    shape = (DAYS, MEMBERS + 1)
    rain_mm = np.where(random.random(shape) < 0.5, random.gamma(0.8, 1.0, shape) * mean_mm, 0.0)
    at = datetime(2026, 6, 1, 12, tzinfo=UTC)
    first = date(2026, 1, 1).toordinal()
    return [
        StoredMembers(
            site_key=1, model="invented", first_day=date.fromordinal(first + day), fetched_at=at,
            first_seen_at=at, given_count=MEMBERS, hole_count=0, frozen_count=0,
            numbers=np.arange(MEMBERS), rain_mm=rain_mm[day, 1:, np.newaxis],
            et0_mm=4.0 + 0.1 * rain_mm[day, 1:, np.newaxis],
        )
        for day in range(DAYS)
    ], rain_mm[:, 0]  # fmt: skip


def test_ten_quantiles_score_as_the_members_do() -> None:
    """The fair CRPS of all members by the reference library scoringrules."""
    found, observed = issues()
    rows = lead_rows(found)
    assert set(rows.sources) == {archived_source("invented")}
    assert rows.member_count.tolist() == [MEMBERS] * DAYS
    spread = archived_spread(rows)
    scores = score_amounts(
        rows.days, rows.numbers["rain_mm"], observed, members_mm=spread.members_mm["rain"],
        weights=spread.weights, band_mm=spread.band_mm["rain"],
        quantiles=quantiles_of(rows, np.ones(DAYS, dtype=np.bool_), "rain"),
    )  # fmt: skip
    members = np.stack([each.rain_mm[:, 0] for each in found])
    exact = scoringrules.crps_ensemble(observed, members, estimator="fair").mean()
    assert scores.crps_mm == pytest.approx(float(exact), rel=0.025)
    et0 = np.stack([each.et0_mm[:, 0] for each in found])
    came = 4.0 + 0.1 * observed
    of_et0 = score_amounts(
        rows.days, rows.numbers["et0_mm"], came, members_mm=spread.members_mm["et0"],
        weights=spread.weights,
        quantiles=quantiles_of(rows, np.ones(DAYS, dtype=np.bool_), "et0"),
    )  # fmt: skip
    fair = scoringrules.crps_ensemble(came, et0, estimator="fair").mean()
    assert of_et0.crps_mm == pytest.approx(float(fair), rel=0.05)
    # Exchangeable with the members: within three standard errors and the width of a slice.
    assert scores.half_coverage_fraction == pytest.approx(0.5, abs=0.25)
    assert scores.most_coverage_fraction == pytest.approx(0.9, abs=0.1)
    dry = rows.numbers["rain_probability_fraction"]
    assert dry == pytest.approx((members >= 0.2).mean(axis=1))


def test_a_forecast_without_members_has_no_such_coverage() -> None:
    found, _ = issues()
    rows = lead_rows(found[:1])
    rows.numbers["rain_p05_mm"][:] = np.nan
    known = quantiles_of(rows, np.ones(1, dtype=np.bool_), "rain")
    assert known.stands_for.tolist() == [0]
