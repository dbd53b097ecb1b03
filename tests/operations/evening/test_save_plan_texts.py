"""Texts of plans that are stored once the plans are out."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from service.bootstrap import Service
from service.operations.evening import run_day as run_day_module
from service.operations.evening.plan_texts import read_plan_text
from service.operations.evening.save_plan_texts import save_texts_later
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, bring_weather, plan_evening


def test_the_text_of_a_plan_that_was_replaced_meanwhile_is_not_stored(
    own_service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    unit_of_work = own_service.unit_of_work
    late: list[Callable[[], None]] = []

    def kept(*given: Any, **named: Any) -> None:
        late.append(partial(save_texts_later, *given, **named))

    monkeypatch.setattr(run_day_module, "save_texts_later", kept)
    for warmer_c in (8.0, 12.0):
        bring_weather(own_service, warmer_c=warmer_c)
        plan_evening(own_service)
    with unit_of_work(write=False) as unit:
        assert unit.texts.find(BLOCK_ID, day=PLAN_DAY) is None  # nor an older one
    rendered = read_plan_text(BLOCK_ID, day=PLAN_DAY, unit_of_work=unit_of_work)
    second, third = late
    second()
    with unit_of_work(write=False) as unit:
        assert unit.texts.find(BLOCK_ID, day=PLAN_DAY) is None
    third()
    with unit_of_work(write=False) as unit:
        assert unit.texts.find(BLOCK_ID, day=PLAN_DAY) == rendered
    assert json.loads(rendered.text)["version"] == 3
