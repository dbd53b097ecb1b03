"""Balance and water used as tables: units in headings, sums that close."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from service.bootstrap import Service
from service.operations.exports.water_tables import balance_table, water_table
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.reading.read_balance import read_balance
from service.operations.reading.read_farms import list_farms
from service.operations.reading.water_used import water_used
from service.records.export import ColumnKind, ExportTable
from service.records.farms import FarmDefinition
from service.records.water_use import Grouping, WaterWish
from service.translations import wording
from service.unit_sizes import MM_PER_INCH
from tests.api.invented_farm import BLOCK_ID, FARM_ID, TODAY


def farm_of(service: Service) -> FarmDefinition:
    return list_farms([FARM_ID], unit_of_work=service.unit_of_work)[0]


def balance(service: Service, units: str, language: str = "en") -> ExportTable:
    found = read_balance(
        BLOCK_ID,
        first_day=date(2026, 7, 5),
        last_day=TODAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    return balance_table(found, farm_of(service), wording(language, units))


def column(table: ExportTable, heading: str) -> list[float]:
    place = [each.heading for each in table.columns].index(heading)
    cells = [row[place] for row in table.rows]
    assert all(isinstance(cell, float) for cell in cells)
    return [float(cell) for cell in cells if isinstance(cell, float)]


def test_each_day_closes_by_its_own_columns(own_service: Service) -> None:
    table = balance(own_service, "si")
    start, end = column(table, "Missing at the start, mm"), column(table, "Missing at the end, mm")
    use, rain = column(table, "Crop use, mm"), column(table, "Rain that enters the root zone, mm")
    net, drained = column(table, "Irrigation, net, mm"), column(table, "Drained, mm")
    other = column(table, "Soil readings and change of the root zone, mm")
    for day in range(len(table.rows)):
        expected = start[day] + use[day] - rain[day] - net[day] + drained[day] + other[day]
        assert end[day] == pytest.approx(expected, abs=1e-9)
    assert [row[0] for row in table.rows][-1] == TODAY


def test_inches_are_millimeters_over_25_4_and_every_quantity_names_its_unit(
    own_service: Service,
) -> None:
    us, si = balance(own_service, "us"), balance(own_service, "si")
    assert column(us, "Crop use, in") == pytest.approx(
        [each / MM_PER_INCH for each in column(si, "Crop use, mm")]
    )
    bare = {"Crop coefficient Kc", "Stress coefficient Ks"}
    for each in us.columns:
        is_number = each.kind is ColumnKind.NUMBER
        assert each.heading.endswith(", in") == (is_number and each.heading not in bare)


def test_notes_name_farm_days_units_and_references(own_service: Service) -> None:
    notes = dict(balance(own_service, "us").notes)
    assert notes["Farm"] == f"Test Farm (invented) ({FARM_ID})"
    assert notes["Days"] == "2026-07-05–2026-07-14"
    assert "inches" in notes["Units"] and "FAO-56" in notes["References"]
    assert notes["Clock"] == "America/New_York"


def test_a_spanish_reader_gets_spanish_headings(own_service: Service) -> None:
    headings = [each.heading for each in balance(own_service, "si", "es").columns]
    assert "Día" in headings and "Day" not in headings and "Lluvia, mm" in headings


def test_the_last_line_of_water_used_is_the_sum_of_the_others(own_service: Service) -> None:
    run = RunReport(BLOCK_ID, datetime(2026, 7, 13, 9, tzinfo=UTC), 60.0)
    with own_service.unit_of_work(write=True) as unit:
        report_runs(unit, [run], farm_id=FARM_ID, reporter="me", replanning=own_service.replanning)
    use = water_used(
        WaterWish(farm_id=FARM_ID, by=(Grouping.MONTH, Grouping.BLOCK)),
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    table = water_table(use, farm_of(own_service), wording("en", "us"), {BLOCK_ID: "North"})
    water = column(table, "Water, gal")
    assert water[-1] == pytest.approx(sum(water[:-1])) and water[-1] > 0.0
    assert table.rows[-1][:2] == ["All", None]
    assert "North" in {row[1] for row in table.rows}
