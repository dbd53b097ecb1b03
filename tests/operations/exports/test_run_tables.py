"""Plans and reported runs as tables."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

from service.bootstrap import Service
from service.operations.exports.run_tables import plan_table, run_table
from service.operations.reading.read_farms import list_farms
from service.operations.reading.read_plans import list_plans
from service.records.export import ExportTable
from service.records.feeds import RunEntry
from service.translations import wording
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY

RUN = RunEntry(
    change_count=1,
    run_key=1,
    farm_id=FARM_ID,
    block_id=BLOCK_ID,
    zone="America/New_York",
    day=date(2026, 7, 14),
    started_at=datetime(2026, 7, 14, 9, 10, tzinfo=UTC),
    duration_min=40.5,
    volume_l=3785.411784,
    is_volume_booked=True,
    recorded_at=datetime(2026, 7, 14, 12, 0, tzinfo=UTC),
    reporter="=Ana",
    undone_at=None,
)


def rows_of(table: ExportTable) -> list[dict[str, object]]:
    headings = [each.heading for each in table.columns]
    return [dict(zip(headings, row, strict=True)) for row in table.rows]


def test_a_plan_has_a_line_for_each_pulse_on_the_farms_clock(own_service: Service) -> None:
    (farm,) = list_farms([FARM_ID], unit_of_work=own_service.unit_of_work)
    views = list_plans(day=PLAN_DAY, farm_id=FARM_ID, unit_of_work=own_service.unit_of_work)
    rows = rows_of(plan_table(views, farm, wording("en", "si")))
    for view in views:
        own = [row for row in rows if row["Block id"] == view.plan.block_id]
        assert len(own) == max(1, len(view.plan.pulses))
        assert {row["Minutes of the day, min"] for row in own} == {view.plan.planned_min}
        for row, (start_min, minutes) in zip(own, view.plan.pulses, strict=False):
            start = row["Start"]
            assert isinstance(start, datetime) and start.tzinfo is None
            assert (start.hour * 60 + start.minute, row["Minutes, min"]) == (start_min, minutes)


def test_a_run_has_its_local_start_and_its_volume_in_the_readers_unit(
    own_service: Service,
) -> None:
    (farm,) = list_farms([FARM_ID], unit_of_work=own_service.unit_of_work)
    entries = [RUN, replace(RUN, volume_l=None), replace(RUN, is_volume_booked=False)]
    table = run_table(
        entries, farm, wording("en", "us"), block_names={BLOCK_ID: "North"}, span=(None, None)
    )
    first, bare, questioned = rows_of(table)
    assert first["Start"] == datetime(2026, 7, 14, 5, 10)  # noqa: DTZ001 - on the farm's clock
    # NIST Handbook 44, Appendix C: 1 gallon = 3.785 411 784 L.
    assert (first["Metered, gal"], first["Metered volume booked"]) == (1000.0, "yes")
    assert (bare["Metered, gal"], bare["Metered volume booked"]) == (None, None)
    assert questioned["Metered volume booked"] == "no"
    assert first["Reported by"] == "=Ana", "what is unsafe in a cell is the writer's affair"
