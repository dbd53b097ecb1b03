"""Price lists: keys, units, own lines, and every fault at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.errors import InputInvalid
from service.farm_files.price_file import parse_prices, read_price_file
from service.waterworks.parts_cost import UnitPrice

FOOT = 0.3048


def test_prices_of_pipe_are_of_a_metre_whatever_they_were_written_for() -> None:
    text = 'part,unit price,per\ndrip-line,120,1000 ft\nHeader,"1,250.50",500 m\nfilter,$310,each\n'
    found = parse_prices(text, "p.csv", default_length_m=FOOT)
    assert found["drip-line"].price == pytest.approx(0.12 / FOOT)
    assert found["header"].price == pytest.approx(2.501)
    assert found["filter"] == UnitPrice(310.0)
    bare = parse_prices("part,unit price\nsubmain,0.9\n", "p.csv", default_length_m=FOOT)
    assert bare["submain"].price == pytest.approx(0.9 / FOOT)


def test_an_amount_counts_a_line_of_ones_own_or_replaces_the_lists() -> None:
    text = "part,unit price,per,amount\nlabor,25,,40\nheader,1,ft,200\ngauge,18,,6\n"
    found = parse_prices(text, "p.csv", default_length_m=1.0)
    assert found["labor"] == UnitPrice(25.0, 40.0)
    assert found["header"].amount == pytest.approx(200 * FOOT)
    assert found["gauge"] == UnitPrice(18.0, 6.0)


def test_every_fault_is_listed_with_its_line() -> None:
    text = (
        "part,unit price,per\ndrip-lin,1,\nfilter,cheap,\ngauge,1,10 ft\nheader,1,10\n"
        "filter,-3,\nbucket,1,\nbucket,2,\n"
    )
    with pytest.raises(InputInvalid) as refused:
        parse_prices(text, "p.csv", default_length_m=1.0)
    places = [fault.where for fault in refused.value.faults]
    assert places == [
        "p.csv: line 2, part",
        "p.csv: line 3, unit price",
        "p.csv: line 4, per",
        "p.csv: line 5, per",
        "p.csv: line 6, unit price",
        "p.csv: line 8",
    ]
    assert "drip-line" in refused.value.faults[0].allowed


@pytest.mark.parametrize("text", ["", "part\nfilter\n", "part,unit price,colour\nfilter,1,red\n"])
def test_a_table_without_its_columns_is_refused(text: str) -> None:
    with pytest.raises(InputInvalid, match="price list"):
        parse_prices(text, "p.csv", default_length_m=1.0)


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputInvalid):
        read_price_file(tmp_path / "none.csv", default_length_m=1.0)
    binary = tmp_path / "b.csv"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputInvalid):
        read_price_file(binary, default_length_m=1.0)
    good = tmp_path / "good.csv"
    good.write_text("\ufeffpart,unit price\nfilter,310\n", encoding="utf-8")
    assert read_price_file(good, default_length_m=1.0) == {"filter": UnitPrice(310.0)}
