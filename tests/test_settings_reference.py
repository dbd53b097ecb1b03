"""The reference of settings is that of this version, and says something of each."""

from __future__ import annotations

from service.settings import Settings
from tests.settings_reference import PAGE, reference


def test_the_page_is_that_of_this_version() -> None:
    assert PAGE.read_text("utf-8") == reference()


def test_every_setting_says_what_it_is_for() -> None:
    silent = [name for name, field in Settings.model_fields.items() if not field.description]
    assert silent == []


def test_a_secret_is_marked_and_its_value_is_not_shown() -> None:
    line = next(each for each in reference().splitlines() if "MAIL_PASSWORD" in each)
    assert line.endswith("**secret** |") and "| |" in line.replace("|  |", "| |")
