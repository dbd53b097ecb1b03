"""What a grower would rather risk, as a word of a farm file."""

from __future__ import annotations

from service.agronomy.risk_attitude import RiskAttitude
from service.farm_files.farm_file import write_farm_file
from service.farm_files.risk_file import ATTITUDES, ORIGIN
from tests.farm_files.test_farm_file import block_text, block_with, faults_of, parse


def test_a_block_that_says_nothing_follows_the_evening_rule_by_default() -> None:
    block = block_with()
    assert block.risk_attitude == RiskAttitude.CLASSIC
    assert block.origins["risk_attitude"] == ORIGIN


def test_every_attitude_is_read_and_written_back() -> None:
    for word, attitude in zip(ATTITUDES, RiskAttitude, strict=True):
        bundle = parse(block_text(f'risk_attitude = "{word}"'))
        assert bundle.blocks[0].risk_attitude == attitude
        assert parse(write_farm_file(bundle)) == bundle


def test_another_word_is_refused_with_those_that_there_are() -> None:
    (fault,) = faults_of(block_text('risk_attitude = "careful crop"'))
    assert fault.where.endswith("risk_attitude")
    assert all(word in fault.allowed for word in ATTITUDES)
