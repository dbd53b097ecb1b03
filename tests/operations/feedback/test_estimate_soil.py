"""How wet the soil is: asked by the first plans of a block, and answered by whoever felt it.

That the zone counts as full until then, and the weights of an answer, are our choices.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.reasoning import PlanFlag
from service.bootstrap import Service
from service.errors import InputInvalid
from service.operations.feedback.estimate_soil import estimate_soil
from service.operations.feedback.read_soil import StoredSoilReading
from tests.api.invented_farm import RUN_AT, TODAY
from tests.vines_farm import BLOCK_ID, bring_evening, ledger, load_vines, plan_of


@pytest.fixture
def vines(own_service: Service) -> Service:
    """Vines of which nobody has said how wet their soil is."""
    load_vines(own_service)
    return own_service


def say(service: Service, share: float, at: str) -> StoredSoilReading:
    with service.unit_of_work(write=True) as unit:
        return estimate_soil(
            unit,
            BLOCK_ID,
            share,
            read_at=datetime.fromisoformat(at),
            reporter="the grower",
            replanning=service.replanning,
        )


def test_the_first_plan_names_the_day_on_which_it_took_the_soil_as_full(vines: Service) -> None:
    bring_evening(vines, TODAY)
    reasoning = plan_of(vines).reasoning
    assert reasoning.flags & PlanFlag.START_DEPLETION_ASSUMED
    assert reasoning.taken_full_day == TODAY
    bring_evening(vines, TODAY + ONE_DAY)
    assert plan_of(vines, TODAY + 2 * ONE_DAY).reasoning.taken_full_day == TODAY


def test_an_answer_replaces_the_assumption_and_the_plan(vines: Service) -> None:
    bring_evening(vines, TODAY)
    before = plan_of(vines)
    done = say(vines, 0.5, f"{TODAY}T18:30")  # on the clock of the site
    assert done.reading.weight_fraction == 1.0
    plan = plan_of(vines)
    assert plan.version == before.version + 1
    assert plan.reasoning.taken_full_day is None
    assert not plan.reasoning.flags & PlanFlag.START_DEPLETION_ASSUMED
    # Half of the water of the zone is missing at the end of the day on which it was felt.
    assert plan.reasoning.depletion_midnight_mm == pytest.approx(done.taw_mm / 2.0, abs=1e-4)


def test_an_answer_of_a_later_day_ends_the_assumption_at_once(vines: Service) -> None:
    bring_evening(vines, TODAY)
    bring_evening(vines, TODAY + ONE_DAY)
    vines.clock.instant = RUN_AT + ONE_DAY  # type: ignore[attr-defined]  # the tests' own clock
    say(vines, 0.25, f"{TODAY + ONE_DAY}T18:30")
    assert plan_of(vines, TODAY + 2 * ONE_DAY).reasoning.taken_full_day is None


def test_a_second_answer_of_the_day_corrects_the_first(vines: Service) -> None:
    bring_evening(vines, TODAY)
    say(vines, 1.0, f"{TODAY}T18:30")
    done = say(vines, 0.0, f"{TODAY}T18:40")
    assert done.reading.weight_fraction == 1.0
    midnight_mm = plan_of(vines).reasoning.depletion_midnight_mm
    assert midnight_mm == pytest.approx(done.taw_mm, abs=1e-4)


def test_against_known_books_an_estimate_counts_by_half(vines: Service) -> None:
    bring_evening(vines, TODAY)
    say(vines, 0.5, f"{TODAY}T18:30")
    bring_evening(vines, TODAY + ONE_DAY)
    vines.clock.instant = RUN_AT + ONE_DAY  # type: ignore[attr-defined]  # the tests' own clock
    assert say(vines, 0.5, f"{TODAY + ONE_DAY}T18:30").reading.weight_fraction == 0.5


def test_an_answer_of_before_the_first_evening_starts_the_books(vines: Service) -> None:
    said = TODAY - timedelta(days=2)
    done = say(vines, 0.5, f"{said}T18:30")
    bring_evening(vines, TODAY)
    rows = ledger(vines)
    assert rows.days[0] == np.datetime64(said)
    assert rows.numbers["depletion_end_mm"][0] == pytest.approx(done.taw_mm / 2.0, abs=1e-4)
    assert plan_of(vines).reasoning.taken_full_day is None


def test_a_depletion_of_the_farm_file_is_an_answer(own_service: Service) -> None:
    load_vines(own_service, "initial_depletion = '10 mm'")
    bring_evening(own_service, TODAY)
    assert plan_of(own_service).reasoning.taken_full_day is None


@pytest.mark.parametrize(
    ("share", "at", "where"),
    [
        (1.2, f"{TODAY}T18:30", "/available_fraction"),
        (-0.1, f"{TODAY}T18:30", "/available_fraction"),
        (0.5, f"{TODAY + ONE_DAY}T18:30", "/read_at"),
    ],
    ids=["over full", "under dry", "to come"],
)
def test_an_impossible_answer_is_refused(vines: Service, share: float, at: str, where: str) -> None:
    with pytest.raises(InputInvalid) as refused:
        say(vines, share, at)
    assert [fault.where for fault in refused.value.faults] == [where]
