"""Reminders to sample: from two weeks before a window to its end, until a test is on file."""

from __future__ import annotations

from datetime import date

import pytest

from service.attributions import ATTRIBUTIONS
from service.bootstrap import Service
from service.operations.mail.weekly_summary import weekly_letter
from service.operations.reading.read_farms import list_farms
from service.operations.season.remind_to_sample import remind_to_sample
from tests.api.invented_farm import FARM_ID, TODAY
from tests.operations.nutrition.test_plan_nutrients import with_tests
from tests.operations.season.test_plan_season import sample_petioles

VERAISON = "grape.petiole.veraison"  # July 15 to August 31


def reminded(service: Service, on: date) -> dict[str, tuple[str, ...]]:
    found = remind_to_sample(FARM_ID, on=on, unit_of_work=service.unit_of_work)
    return {each.group.task.detail: each.block_names for each in found}


@pytest.mark.parametrize(
    ("on", "is_due"),
    [
        (date(2026, 6, 30), False),
        (date(2026, 7, 1), True),
        (date(2026, 8, 31), True),
        (date(2026, 9, 1), False),
    ],
)
def test_a_window_is_named_from_two_weeks_before_it_to_its_end(
    own_service: Service, on: date, is_due: bool
) -> None:
    assert (VERAISON in reminded(own_service, on)) is is_due


def test_a_test_on_file_ends_the_reminders(own_service: Service) -> None:
    assert reminded(own_service, TODAY)[VERAISON] == ("south",)
    sample_petioles(own_service)
    assert VERAISON not in reminded(own_service, TODAY)


def test_only_what_goes_to_a_laboratory_is_reminded_of(own_service: Service) -> None:
    for on in (TODAY, date(2026, 9, 20)):
        found = remind_to_sample(FARM_ID, on=on, unit_of_work=own_service.unit_of_work)
        kinds = {each.group.task.kind.value for each in found}
        assert kinds and kinds <= {"leaf-sample", "soil-sample", "soil-retest"}


def test_the_weekly_mail_reminds_as_of_the_monday_on_which_it_is_sent(own_service: Service) -> None:
    (farm,) = list_farms([FARM_ID], unit_of_work=own_service.unit_of_work)
    letter = weekly_letter(
        farm,
        date(2026, 7, 12),
        unit_of_work=with_tests(own_service).unit_of_work,
        attributions=ATTRIBUTIONS,
    )
    due = [each.group.task.detail for each in letter.reminders]
    assert due == [VERAISON, "highbush-blueberry.leaf.mid-season"]
