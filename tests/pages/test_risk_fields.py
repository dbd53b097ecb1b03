"""What a grower would rather risk, chosen on the form of a block."""

from __future__ import annotations

from service.agronomy.risk_attitude import RiskAttitude
from service.bootstrap import Service
from tests.pages.conftest import Reader
from tests.pages.test_control_fields import BLOCK_PAGE, block_of, send
from tests.pages.test_pages import entered


def test_the_choice_is_made_in_plain_words_shown_again_and_taken_back(
    service: Service, reader: Reader
) -> None:
    before = block_of(service)
    assert entered(reader, BLOCK_PAGE)["risk_attitude"] == "classic"
    assert "weigh the forecast, careful with water and nitrate" in reader.get(BLOCK_PAGE).text
    assert send(reader, BLOCK_PAGE, {"risk_attitude": "careful-water"}) == 303
    block = block_of(service)
    assert block.risk_attitude == RiskAttitude.CAREFUL_WATER
    assert block.origins["risk_attitude"] == "given"
    assert send(reader, BLOCK_PAGE, {}) == 303
    assert block_of(service).risk_attitude == RiskAttitude.CAREFUL_WATER
    assert send(reader, BLOCK_PAGE, {"risk_attitude": "classic"}) == 303
    assert block_of(service).risk_attitude == before.risk_attitude


def test_an_unknown_choice_is_refused_with_those_that_there_are(reader: Reader) -> None:
    answer = reader.send(
        BLOCK_PAGE, **{**entered(reader, BLOCK_PAGE), "risk_attitude": "bold"}, do="store"
    )
    assert answer.status_code == 422
    assert "careful-crop" in answer.text
