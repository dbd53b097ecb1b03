"""Ensembles in the archive of forecasts: stored by model, and small."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from service.bootstrap import Service
from service.operations.weather.archive_members import archive_members, archived_source
from tests.operations.weather.test_archived_spread import issues


def test_an_issue_is_kept_by_lead_and_again_changes_nothing(own_service: Service) -> None:
    issued = issues()[0][0]
    week = replace(
        issued,
        rain_mm=np.repeat(issued.rain_mm, 7, axis=1),
        et0_mm=np.repeat(issued.et0_mm, 7, axis=1),
    )
    with own_service.unit_of_work(write=True) as unit:
        key = unit.blocks.get_site_key("home")
        own = replace(week, site_key=key)
        archive_members(unit, [own])
        archive_members(unit, [own])
        few = replace(own, model="few", numbers=own.numbers[:5], rain_mm=own.rain_mm[:5])
        archive_members(unit, [few])
        kept = unit.forecasts.read_leads(
            np.array([key]), first_day=own.first_day, last_day=own.first_day.replace(day=28)
        )
    mine = [row for row, name in enumerate(kept.sources) if name == archived_source("invented")]
    assert kept.lead_days[mine].tolist() == list(range(1, 8))
    assert not any(name.endswith("few") for name in kept.sources)
    middle = kept.numbers["rain_p50_mm"][mine]
    assert np.allclose(middle, np.quantile(issued.rain_mm[:, 0], 0.5), atol=1e-5)
    assert (kept.numbers["rain_p05_mm"][mine] <= middle).all()
    assert (middle <= kept.numbers["rain_p95_mm"][mine]).all()
