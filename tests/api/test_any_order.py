"""Reports and changes in any order: plans stay within their bounds and no water is lost.

Days pass too: each brings its weather, which need not be what was forecast, and its evening run.
After each step the ledger must balance, day must follow on day, and no plan may run a block for
longer than it may. At the end the ledgers of a copy of the database are deleted and recomputed from
what was reported: they and tomorrow's plans must come out the same.
"""

from __future__ import annotations

import tempfile
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    consumes,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import text
from sqlalchemy.engine import URL, make_url

from service.api.app import create_app
from service.bootstrap import Service
from service.database.engine import make_engine
from service.operations.evening.run_day import run_day
from service.operations.weather.import_weather import import_weather
from tests.api.callers import Caller
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    RUN_AT,
    TODAY,
    FixedClock,
    copied_service,
)

BLOCKS = st.sampled_from([BLOCK_ID, BARE_BLOCK_ID])
DAYS_AGO = st.integers(1, 13)
ONE_DAY = timedelta(days=1)
LAST_EVENING = TODAY + timedelta(days=8)
SPAN = {"from": "2026-06-01", "to": "2026-07-31"}


def set_evening(service: Service, evening: date) -> None:
    """Set the clock to 19:00 of a day at the farm."""
    assert isinstance(service.clock, FixedClock)
    service.clock.instant = RUN_AT + (evening - TODAY)


def bring_day(service: Service, evening: date, *, warmer_c: float, rain_mm: float) -> None:
    """Store what was observed on a day, and a forecast of the week after it."""
    days = np.arange(np.datetime64(evening), np.datetime64(evening) + 8)
    wave = np.sin(days.astype(np.int64) * 0.7)
    import_weather(
        "home",
        days,
        {
            "tmax_c": 31.0 + 2.0 * wave + warmer_c,
            "tmin_c": 19.0 + wave + warmer_c,
            "rhmax_pct": 92.0 + 3.0 * wave,
            "rhmin_pct": 48.0 + 5.0 * wave,
            "wind_m_s": 1.6 + 0.4 * wave,
            "rs_mj_m2": 22.0 + 3.0 * wave,
            "rain_mm": np.where(days == np.datetime64(evening), rain_mm, 0.0),
        },
        source="import",
        forecast_from=evening + ONE_DAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def run_evening_of(service: Service, evening: date, *, makes_plans: bool = True) -> None:
    """What the scheduler does in the evening."""
    run = run_day(
        evening,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        makes_plans=makes_plans,
    )
    assert not run.failures


class FarmOverTime(RuleBasedStateMachine):
    """A planned farm, and what people and devices do to it from one evening to the next."""

    template: URL
    pauses = Bundle("pauses")

    @initialize()
    def begin(self) -> None:
        """A farm of its own."""
        self._folder = tempfile.TemporaryDirectory()
        self._opened = copied_service(self.template, Path(self._folder.name))
        self.service = self._opened.__enter__()
        self.caller = Caller(create_app(self.service))
        self.evening = TODAY

    def teardown(self) -> None:
        """Recompute everything, and delete the farm."""
        if hasattr(self, "caller"):
            self._replay()
            self._opened.__exit__(None, None, None)
            self._folder.cleanup()

    # --- what happens ------------------------------------------------------------------------

    @rule(
        block=BLOCKS,
        ago=DAYS_AGO,
        hour=st.integers(0, 18),
        minutes=st.floats(0, 600),
        volume=st.none() | st.floats(0, 1e6),
    )
    def report_run(
        self, block: str, ago: int, hour: int, minutes: float, volume: float | None
    ) -> None:
        """A run of the last fortnight."""
        run = {
            "block_id": block, "started_at": f"{self._before(ago)}T{hour:02d}:00:00-04:00",
            "duration_min": minutes, "volume_l": volume,
        }  # fmt: skip
        answer = self.caller.post("/v1/runs", {"items": [run]})
        assert answer.status_code == 200, answer.text

    @rule(ago=DAYS_AGO, rain=st.floats(0, 60))
    def report_rain(self, ago: int, rain: float) -> None:
        """A gauge reading; one that covers time that another covers may be refused."""
        at = f"{self._before(ago)}T07:00:00-04:00"
        answer = self.caller.post(
            "/v1/gauges/home/readings",
            {"rain_mm": rain, "read_at": at, "confirm": True, "note": "read again"},
        )
        assert answer.status_code in (200, 422), answer.text

    @rule(block=BLOCKS, ago=DAYS_AGO, hour=st.integers(0, 18), water=st.floats(0.02, 0.5))
    def report_soil(self, block: str, ago: int, hour: int, water: float) -> None:
        """A soil reading."""
        answer = self.caller.post(
            f"/v1/blocks/{block}/soil-readings",
            {
                "read_at": f"{self._before(ago)}T{hour:02d}:30:00-04:00",
                "depth_m": 0.2,
                "volumetric_water": water,
            },
        )
        assert answer.status_code == 200, answer.text

    @rule(target=pauses, block=BLOCKS, begins=st.integers(0, 22), hours=st.integers(1, 30))
    def pause(self, block: str, begins: int, hours: int) -> tuple[str, str]:
        """No water for some hours of tomorrow, perhaps into the next day."""
        tomorrow = self.evening + ONE_DAY
        ends = begins + hours
        answer = self.caller.post(
            f"/v1/blocks/{block}/pauses",
            {
                "starts_local": f"{tomorrow}T{begins:02d}:00",
                "ends_local": f"{tomorrow + ends // 24 * ONE_DAY}T{ends % 24:02d}:00",
                "reason": "spraying",
            },
        )
        assert answer.status_code == 200, answer.text
        return block, answer.json()["pause"]["pause_id"]

    @rule(pause=consumes(pauses))
    def take_back(self, pause: tuple[str, str]) -> None:
        """A pause cancelled before its end."""
        answer = self.caller.request("DELETE", f"/v1/blocks/{pause[0]}/pauses/{pause[1]}")
        assert answer.status_code == 200, answer.text

    @rule(
        place=st.integers(0, 1),
        maximum=st.integers(20, 400),
        depth=st.sampled_from(["0.2 m", "0.4 m", "0.6 m"]),
    )
    def change_block(self, place: int, maximum: int, depth: str) -> None:
        """Another daily maximum and root depth from today on."""
        document = self.caller.get(f"/v1/farms/{FARM_ID}").json()
        table: dict[str, Any] = document["block"][place]
        table |= {"daily_maximum": f"{maximum} min", "root_depth": depth}
        path = f"/v1/blocks/{FARM_ID}.{table['id']}"
        held = self.caller.get(path).headers["ETag"]
        answer = self.caller.request("PUT", path, json=table, headers={"If-Match": held})
        assert answer.status_code == 200, answer.text

    @rule()
    def run_evening(self) -> None:
        """The scheduler runs the evening once more."""
        versions = [self._plan(block)["version"] for block in (BLOCK_ID, BARE_BLOCK_ID)]
        run_evening_of(self.service, self.evening)
        after = [self._plan(block)["version"] for block in (BLOCK_ID, BARE_BLOCK_ID)]
        assert after == versions, "plans in force were not those of the evening"

    @precondition(lambda self: self.evening < LAST_EVENING)
    @rule(warmer_c=st.floats(-8.0, 8.0), rain_mm=st.just(0.0) | st.floats(0.0, 40.0))
    def pass_a_day(self, warmer_c: float, rain_mm: float) -> None:
        """The day planned goes by, in weather of its own, and its evening comes."""
        self.evening += ONE_DAY
        set_evening(self.service, self.evening)
        bring_day(self.service, self.evening, warmer_c=warmer_c, rain_mm=rain_mm)
        run_evening_of(self.service, self.evening)

    # --- what always holds -------------------------------------------------------------------

    @invariant()
    def plans_stay_within_their_bounds(self) -> None:
        """Never over the daily maximum, and pulses add up."""
        if not hasattr(self, "caller"):
            return
        for block in (BLOCK_ID, BARE_BLOCK_ID):
            plan = self._plan(block)
            limit = self.caller.get(f"/v1/blocks/{block}").json()["daily_maximum_min"]
            assert plan["planned_min"] <= limit
            assert plan["planned_min"] == sum(each["duration_min"] for each in plan["pulses"])

    @invariant()
    def no_water_is_lost(self) -> None:
        """Every millimetre of every day is booked, and each day begins where the last ended."""
        if not hasattr(self, "caller"):
            return
        for block in (BLOCK_ID, BARE_BLOCK_ID):
            before = None
            for day in self._days(self.caller, block):
                booked = (
                    day["actual_crop_et_mm"] - day["rain_entering_mm"] - day["early_net_mm"]
                    - day["day_net_mm"] + day["rain_drainage_mm"] + day["irrigation_drainage_mm"]
                    + day["resize_mm"] + day["correction_mm"]
                )  # fmt: skip
                change = day["depletion_end_mm"] - day["depletion_start_mm"]
                assert change == pytest.approx(booked, abs=1e-5), day
                assert -1e-9 <= day["depletion_end_mm"] <= day["taw_mm"] + 1e-6
                if before is not None:
                    assert day["depletion_start_mm"] == pytest.approx(before, abs=2e-6)
                before = day["depletion_end_mm"]

    def _before(self, ago: int) -> date:
        """The day a number of days ago."""
        return self.evening - ago * ONE_DAY

    def _plan(self, block: str) -> dict[str, Any]:
        answer = self.caller.get(
            f"/v1/blocks/{block}/plan", params={"date": str(self.evening + ONE_DAY)}
        )
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found

    def _days(self, caller: Caller, block: str) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = caller.get(f"/v1/blocks/{block}/balance", params=SPAN).json()[
            "items"
        ]
        return found

    def _replay(self) -> None:
        recorded = {
            block: (self._days(self.caller, block), self._plan(block)["pulses"])
            for block in (BLOCK_ID, BARE_BLOCK_ID)
        }
        self.service.close()
        stored = make_url(self.service.settings.database_url)
        with copied_service(stored, Path(self._folder.name)) as replayed:
            engine = make_engine(replayed.settings.database_url)
            with engine.begin() as connection:
                connection.execute(text("DELETE FROM balance_day"))
                connection.execute(text("DELETE FROM balance_state"))
            engine.dispose()
            set_evening(replayed, self.evening)
            # The first evening decides where the ledgers begin; its plans have run since.
            run_evening_of(replayed, TODAY, makes_plans=self.evening == TODAY)
            run_evening_of(replayed, self.evening)
            caller = Caller(create_app(replayed))
            for block, (days, pulses) in recorded.items():
                assert self._days(caller, block) == days
                plan = caller.get(
                    f"/v1/blocks/{block}/plan", params={"date": str(self.evening + ONE_DAY)}
                )
                assert plan.json()["pulses"] == pulses


def test_reports_and_changes_in_any_order_keep_the_farm_in_order(planned_database: URL) -> None:
    FarmOverTime.template = planned_database
    run_state_machine_as_test(
        FarmOverTime, settings=settings(max_examples=6, stateful_step_count=10, deadline=None)
    )
