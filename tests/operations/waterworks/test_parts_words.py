"""The parts in a reader's units and language: one number, written as people write it."""

from __future__ import annotations

import re

import pytest

from service.bootstrap import Service
from service.operations.waterworks import parts_words
from service.operations.waterworks.list_parts import PartsReport, PartsRequest, list_parts
from service.translations import wording
from service.waterworks.head_injector import Substance
from tests.api.invented_farm import BARE_BLOCK_ID, TODAY

US, SI, ES = wording("en", "us"), wording("en", "si"), wording("es", "us")


@pytest.fixture
def report(own_service: Service) -> PartsReport:
    request = PartsRequest(substances=(Substance.ACID,), inlet_head_m=40.0, zone_count=2)
    return list_parts(BARE_BLOCK_ID, request, on=TODAY, unit_of_work=own_service.unit_of_work)


def test_flows_pressures_and_lengths_have_the_units_of_the_reader() -> None:
    # A gallon is 3.785 L, a psi 6.895 kPa, a metre of water 9.807 kPa: by hand.
    assert parts_words.flow(3785.411784 * 0.6, US) == "10.0 gal/min"
    assert parts_words.flow(1.892706, US) == "0.50 gal/h"
    assert parts_words.flow(2500.0, SI) == "2.50 m³/h"
    assert parts_words.head(10.0, US) == "14.2 psi"
    assert parts_words.head(10.0, SI) == "0.98 bar"
    assert parts_words.length(0.4572, US) == "18.0 in"
    assert parts_words.length(304.8, US) == "1,000 ft"
    assert parts_words.length(304.8, SI) == "305 m"


def test_every_part_has_an_amount_and_a_unit_for_its_price(report: PartsReport) -> None:
    per_piece = {part.key: parts_words.price_unit(part, US) for part in report.parts}
    assert (per_piece["drip-line"], per_piece["filter"]) == ("ft", "each")
    assert parts_words.price_unit_m(US) == 0.3048 and parts_words.price_unit_m(SI) == 1.0
    line = next(part for part in report.parts if part.key == "drip-line")
    assert parts_words.amount(line, US).endswith(" ft")
    assert "emitter spacing" in parts_words.sizes(line, US)
    assert "distancia entre goteros" in parts_words.sizes(line, ES)


def test_a_suction_injector_is_shown_with_and_without_a_booster(report: PartsReport) -> None:
    rows = dict(parts_words.suction_rows(report, US))
    assert rows["Pressure at the head"] == parts_words.head(40.0, US)
    assert rows["Booster pump for it, at least"] == "none needed"
    assert len(parts_words.suction_rows(report, ES)) == len(rows)
    assert len(parts_words.number_rows(report, SI)) == len(parts_words.number_rows(report, US))


def test_the_figure_names_every_station_in_the_readers_language(report: PartsReport) -> None:
    drawn = str(parts_words.order_figure(report, ES))
    assert "Inyector: ácido" in drawn and "en cada una de 2 zonas" in drawn
    assert len(re.findall(r">[0-9]+[.] ", drawn)) == len(report.stations)
