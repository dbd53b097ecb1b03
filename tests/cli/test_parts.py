"""The parts of a block from the command line, on the invented demonstration farm."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import Result

from tests.cli.conftest import document

Command = Callable[..., Result]
BLOCK = "larkbend.creek"
PRICES = "part,unit price,per,amount\ndrip-line,120,1000 ft,\nlabor,25,,40\n"


def test_the_list_says_amounts_order_checks_and_cautions(demo: Command) -> None:
    found = demo("parts", BLOCK, "--water", "surface", "--inject", "acid", "--pressure", "45 psi")
    assert found.exit_code == 0, found.output
    text = " ".join(found.output.split())
    for words in (
        "5,227 ft",
        "Never chosen here",
        "Behind the filter and every metal part",
        "Order along the pipe",
        "1. Supply: pump, well or hydrant",
        "Spring start-up: flush, test, walk",
        "Nothing here chooses it.",
        "45.0 psi",
    ):
        assert words in text
    metric = demo("parts", BLOCK, "--units", "si", "--no-injector")
    assert "1,593 m" in metric.output and "njector:" not in metric.output


def test_prices_of_a_file_give_the_cost_and_name_what_is_missing(
    demo: Command, tmp_path: Path
) -> None:
    path = tmp_path / "prices.csv"
    path.write_text(PRICES, encoding="utf-8")
    given = ("parts", BLOCK, "--prices", str(path), "--budget", "8000")
    cost = document(demo(*given, "--json"))["cost"]
    # 5,227.2 ft at 12 cents, and 40 hours at 25, by hand.
    assert cost["cost"] == pytest.approx(627.26 + 1000.0, abs=0.01)
    assert cost["budget_share_fraction"] == pytest.approx(1627.26 / 8000.0, abs=1e-5)
    assert "filter" in cost["missing"]
    text = " ".join(demo(*given).output.split())
    assert "1,627.26" in text and "Without a price" in text and "20% of the budget" in text


def test_the_drawing_is_written_to_a_file(demo: Command, tmp_path: Path) -> None:
    path = tmp_path / "order.svg"
    assert demo("parts", BLOCK, "--svg", str(path)).exit_code == 0
    assert path.read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    "options",
    [
        ("--inject", "acid", "--no-injector"),
        ("--budget", "9000"),
        ("--pressure", "45"),
        ("--row-length", "many"),
        ("--zones", "0"),
        ("--dilution", "0"),
    ],
)
def test_options_that_cannot_be_are_refused(demo: Command, options: tuple[str, ...]) -> None:
    assert demo("parts", BLOCK, *options).exit_code == 2
