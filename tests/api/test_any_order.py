"""Whatever is reported and changed in whatever order: plans within their bounds, no water lost.

After each step the ledger must balance, day must follow on day, and no plan may run a block for
longer than it may. At the end the ledgers of a copy of the database are thrown away and worked out
anew from what was reported: they and tomorrow's plans must come out as they stand.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    consumes,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import create_engine, text

from service.api.app import create_app
from tests.api.callers import Caller
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    DATABASE_NAME,
    FARM_ID,
    PLAN_DAY,
    opened_service,
    plan_evening,
)

BLOCKS = st.sampled_from([BLOCK_ID, BARE_BLOCK_ID])
DAYS = st.integers(1, 13)
SPAN = {"from": "2026-06-01", "to": "2026-07-31"}


class FarmOverTime(RuleBasedStateMachine):
    """A planned farm, and what people and devices do to it on one evening."""

    template: Path
    pauses = Bundle("pauses")

    @initialize()
    def begin(self) -> None:
        """A farm of its own."""
        self._folder = tempfile.TemporaryDirectory()
        shutil.copyfile(self.template, Path(self._folder.name) / DATABASE_NAME)
        self._opened = opened_service(Path(self._folder.name))
        self.service = self._opened.__enter__()
        self.caller = Caller(create_app(self.service))

    def teardown(self) -> None:
        """Work everything out anew, and put the farm away."""
        if hasattr(self, "caller"):
            self._replay()
            self._opened.__exit__(None, None, None)
            self._folder.cleanup()

    # --- what happens ------------------------------------------------------------------------

    @rule(
        block=BLOCKS,
        day=DAYS,
        hour=st.integers(0, 18),
        minutes=st.floats(0, 600),
        volume=st.none() | st.floats(0, 1e6),
    )
    def report_run(
        self, block: str, day: int, hour: int, minutes: float, volume: float | None
    ) -> None:
        """A run of the last fortnight."""
        run = {
            "block_id": block, "started_at": f"2026-07-{day:02d}T{hour:02d}:00:00-04:00",
            "duration_min": minutes, "volume_l": volume,
        }  # fmt: skip
        answer = self.caller.post("/v1/runs", {"items": [run]})
        assert answer.status_code == 200, answer.text

    @rule(day=DAYS, rain=st.floats(0, 60))
    def report_rain(self, day: int, rain: float) -> None:
        """A gauge reading; one that covers time that another covers may be refused."""
        at = f"2026-07-{day:02d}T07:00:00-04:00"
        answer = self.caller.post(
            "/v1/gauges/home/readings",
            {"rain_mm": rain, "read_at": at, "confirm": True, "note": "read again"},
        )
        assert answer.status_code in (200, 422), answer.text

    @rule(block=BLOCKS, day=DAYS, hour=st.integers(0, 18), water=st.floats(0.02, 0.5))
    def report_soil(self, block: str, day: int, hour: int, water: float) -> None:
        """A soil reading."""
        answer = self.caller.post(
            f"/v1/blocks/{block}/soil-readings",
            {
                "read_at": f"2026-07-{day:02d}T{hour:02d}:30:00-04:00",
                "depth_m": 0.2,
                "volumetric_water": water,
            },
        )
        assert answer.status_code == 200, answer.text

    @rule(target=pauses, block=BLOCKS, begins=st.integers(0, 22), hours=st.integers(1, 30))
    def pause(self, block: str, begins: int, hours: int) -> tuple[str, str]:
        """No water for some hours of tomorrow, perhaps into the next day."""
        ends = begins + hours
        answer = self.caller.post(
            f"/v1/blocks/{block}/pauses",
            {
                "starts_local": f"2026-07-15T{begins:02d}:00",
                "ends_local": f"2026-07-{15 + ends // 24:02d}T{ends % 24:02d}:00",
                "reason": "spraying",
            },
        )
        assert answer.status_code == 200, answer.text
        return block, answer.json()["pause"]["pause_id"]

    @rule(pause=consumes(pauses))
    def take_back(self, pause: tuple[str, str]) -> None:
        """A pause that is over before its time."""
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
        assert not plan_evening(self.service)
        after = [self._plan(block)["version"] for block in (BLOCK_ID, BARE_BLOCK_ID)]
        assert after == versions, "plans that stood were not those of the evening"

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

    def _plan(self, block: str) -> dict[str, Any]:
        answer = self.caller.get(f"/v1/blocks/{block}/plan", params={"date": str(PLAN_DAY)})
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found

    def _days(self, caller: Caller, block: str) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = caller.get(f"/v1/blocks/{block}/balance", params=SPAN).json()[
            "items"
        ]
        return found

    def _replay(self) -> None:
        stood = {
            block: (self._days(self.caller, block), self._plan(block)["pulses"])
            for block in (BLOCK_ID, BARE_BLOCK_ID)
        }
        folder = Path(self._folder.name) / uuid4().hex
        folder.mkdir()
        with create_engine(self.service.settings.database_url).connect() as connection:
            connection.exec_driver_sql(f"VACUUM INTO '{folder / DATABASE_NAME}'")
        with opened_service(folder) as anew:
            engine = create_engine(anew.settings.database_url)
            with engine.begin() as connection:
                connection.execute(text("DELETE FROM balance_day"))
                connection.execute(text("DELETE FROM balance_state"))
            engine.dispose()
            assert not plan_evening(anew)
            caller = Caller(create_app(anew))
            for block, (days, pulses) in stood.items():
                assert self._days(caller, block) == days
                plan = caller.get(f"/v1/blocks/{block}/plan", params={"date": str(PLAN_DAY)})
                assert plan.json()["pulses"] == pulses


def test_reports_and_changes_in_any_order_keep_the_farm_in_order(planned_database: Path) -> None:
    FarmOverTime.template = planned_database
    run_state_machine_as_test(
        FarmOverTime, settings=settings(max_examples=6, stateful_step_count=10, deadline=None)
    )
