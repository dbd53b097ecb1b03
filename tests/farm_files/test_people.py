"""People in farm files: who gets mail, read whole or refused with every fault."""

from __future__ import annotations

import pytest

from service.errors import FarmFileInvalid
from service.farm_files.farm_file import parse_farm, write_farm_file
from service.records.mail import MAIL_LISTS, Person

FARM = """
[farm]
id = "brook"
name = "Brook farm (invented)"
zone = "America/New_York"
unit_system = "si"
"""


def people_of(text: str) -> tuple[Person, ...]:
    return parse_farm(FARM + text, name="farm.toml").people


def faults_of(text: str) -> list[str]:
    with pytest.raises(FarmFileInvalid) as caught:
        parse_farm(text, name="farm.toml")
    return [str(fault) for fault in caught.value.faults]


def test_a_person_needs_a_name_and_an_address_and_takes_the_units_of_the_farm() -> None:
    (found,) = people_of('[[person]]\nmail = "Ana@EXAMPLE.org"\nname = "Ana"\n')
    assert found == Person(
        mail_address="Ana@example.org",
        name="Ana",
        language="en",
        unit_system="si",
        role="grower",
        receives=MAIL_LISTS,
    )


def test_what_is_written_reads_back() -> None:
    bundle = parse_farm(
        FARM
        + """
[[person]]
mail = "ana@example.org"
name = "Ana \\"la de la bomba\\""
language = "es"
unit_system = "us"
receives = ["weekly"]
[[person]]
mail = "ben@example.org"
name = "Ben"
receives = []
""",
        name="farm.toml",
    )
    assert [person.receives for person in bundle.people] == [("weekly",), ()]
    assert parse_farm(write_farm_file(bundle), name="again.toml") == bundle


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ('mail = "ana@example.org, ben@example.org"', "mail"),
        ('mail = "ana"', "mail"),
        ('mail = "a\\r\\nBcc: b@example.org"', "mail"),
        ("mail = 5", "mail"),
        ('mail = "a@example.org"\nlanguage = "fr"', "language"),
        ('mail = "a@example.org"\nunit_system = "metric"', "unit_system"),
        ('mail = "a@example.org"\nreceives = "weekly"', "receives"),
        ('mail = "a@example.org"\nreceives = ["monthly"]', "receives"),
        ('mail = "a@example.org"\nrole = "adviser"', "role"),
    ],
)
def test_what_cannot_be_a_person_is_refused_at_its_key(line: str, key: str) -> None:
    (fault,) = faults_of(f'{FARM}[[person]]\nname = "Ana"\n{line}\n')
    assert "person[1]" in fault
    assert f" {key}:" in fault


def test_two_people_with_one_address_are_refused() -> None:
    table = '[[person]]\nmail = "a@example.org"\nname = "A"\n'
    (fault,) = faults_of(FARM + table + table)
    assert "person[2]" in fault


def test_people_without_a_farm_are_refused() -> None:
    faults = faults_of('[[person]]\nmail = "a@example.org"\nname = "A"\n')
    assert any("[[person]] without a farm" in fault for fault in faults)
