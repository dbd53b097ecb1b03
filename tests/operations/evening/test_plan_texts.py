"""Plans rendered at publication, or again from what is stored, with the same result."""

from __future__ import annotations

import json

import pytest

from service.bootstrap import Service
from service.errors import NotFound, PlanNotFound
from service.operations.evening.plan_texts import read_plan_text
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    YOUNG_BLOCK_ID,
    bring_weather,
    plan_evening,
)


def test_a_text_that_is_gone_is_written_as_it_was(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    published = read_plan_text(BLOCK_ID, day=PLAN_DAY, unit_of_work=unit_of_work)
    with unit_of_work(write=True) as unit:
        unit.texts.forget(FARM_ID)
        assert unit.texts.find(BLOCK_ID, day=PLAN_DAY) is None
    assert read_plan_text(BLOCK_ID, day=PLAN_DAY, unit_of_work=unit_of_work) == published
    assert published.farm_id == FARM_ID


def test_a_new_version_is_written_out_in_its_place(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    versions = []
    for _ in range(2):
        text = read_plan_text(BLOCK_ID, day=None, unit_of_work=unit_of_work)
        document = json.loads(text.text)
        assert (document["block_id"], document["day"]) == (BLOCK_ID, str(PLAN_DAY))
        versions.append(document["version"])
        bring_weather(own_service, warmer_c=8.0)
        plan_evening(own_service)
    assert versions == [1, 2]


def test_a_plan_that_is_not_there_has_no_text(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    with pytest.raises(PlanNotFound):
        read_plan_text(YOUNG_BLOCK_ID, day=None, unit_of_work=unit_of_work)
    with pytest.raises(PlanNotFound):
        read_plan_text(BLOCK_ID, day=TODAY, unit_of_work=unit_of_work)
    with pytest.raises(NotFound):
        read_plan_text("test-farm.nowhere", day=None, unit_of_work=unit_of_work)
