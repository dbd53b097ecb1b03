"""House rule: whoever writes into a store also notes what changed, or says here why not.

The rule reads the code: which methods of which stores write, and which functions call them. A new
method, operation, route or page is in it by itself.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from functools import cache
from typing import get_type_hints

import pytest

from service.database.session import UnitOfWork
from tests.test_house_rules import functions_in, own_files, text_of

STATEMENTS = frozenset({"insert", "update", "delete", "insert_rows", "upsert_rows", "insert_into"})
"""What a store writes with."""
NOTES = frozenset({"note", "note_at_site", "note_bundle", "note_import", "_note", "_note_runs"})

DERIVED: Mapping[str, str] = {
    "ledger": "computed again from what was reported, every evening",
    "texts": "plans in other words, as they are read",
    "plans": "computed; each version is kept with its reasoning",
    "marks": "says that something else has changed",
    "runs": "what the scheduler has done",
    "breakers": "the health of weather services",
    "payloads": "answers of weather services",
    "forecasts": "what weather services issued, and what came of it",
    "members": "answers of weather services, and what these were asked for",
    "shadows": "days on paper, computed every evening",
    "answers": "answers to repeated requests, for 48 hours",
    "outbox": "mails that follow from plans, with a record of their own",
    "events": "follow from changes, with a record of their own",
    "polls": "when controllers asked last",
    "tallies": "how often callers have asked within a minute",
    "retention": "old plans are packed and thinned; what was in force stays as it was",
    "audit": "the record itself",
}
"""Stores that nobody changes by hand."""

BY_MACHINES: Mapping[str, str] = {
    "service/api/access.py::Gate.__init__": "when a key was last used changes nothing",
    "service/operations/access/end_session.py::end_session": "signing out changes nothing",
    "service/operations/access/sign_in_links.py::ask_for_link": "asks for a mail to oneself",
    "service/operations/access/sign_in_links.py::queue_sign_in_links": "the mail queue",
    "service/operations/access/sign_in_links.py::use_link": "signing in changes nothing",
    "service/operations/mail/send_mail.py::_drop": "the mail queue; the outbox keeps the reason",
    "service/operations/mail/send_mail.py::_fail": "the mail queue; the outbox keeps the reason",
    "service/operations/mail/send_mail.py::_send_one": "the mail queue",
    "service/operations/evening/publish_programs.py::publish_programs": "follows from the plans",
    "service/operations/evening/run_timers.py::offer_programs": "an offer; nobody has set it",
    "service/operations/weather/refresh_weather.py::WeatherRefresh.__call__": (
        "weather services, several times a day; each row has its source and time"
    ),
}
"""Writes that no person or key asks for."""

NOTED_ABOVE: Mapping[str, str] = {
    "service/operations/farms/manage_controllers.py::save_controllers": (
        "store_bundle, its only caller, notes the farm before and after"
    ),
    "service/operations/timers/set_timer.py::set_own_program": (
        "the program is offered first; set_timer notes that it was set"
    ),
    "service/operations/weather/record_rain.py::_Gauge.save_days": (
        "store_reading notes the reading, from which the days follow"
    ),
}
"""Parts of an operation whose caller notes the change."""


@cache
def writing_methods() -> dict[str, frozenset[str]]:
    """The methods of each store that write, by the store's name in a unit of work."""
    classes: dict[str, ast.ClassDef] = {}
    for name in own_files():
        if name.startswith("service/database/") and name.endswith(".py"):
            for node in ast.parse(text_of(name)).body:
                if isinstance(node, ast.ClassDef):
                    classes[node.name] = node
    stores = {
        attribute: store.__name__
        for attribute, store in get_type_hints(UnitOfWork).items()
        if not attribute.startswith("_")
    }
    return {attribute: _writing(classes[name]) for attribute, name in stores.items()}


def _writing(store: ast.ClassDef) -> frozenset[str]:
    calls = {
        method.name: {called for node in ast.walk(method) for called in _called(node)}
        for method in store.body
        if isinstance(method, ast.FunctionDef)
    }
    writing = {name for name, called in calls.items() if called & STATEMENTS}
    while True:
        more = {name for name, called in calls.items() if called & writing} - writing
        if not more:
            return frozenset(writing)
        writing |= more


def _called(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Call):
        if isinstance(node.func, ast.Name):
            yield node.func.id
        elif isinstance(node.func, ast.Attribute):
            yield node.func.attr


def writes_of(source: str) -> Iterator[tuple[str, set[str], bool]]:
    """Each function that writes: its qualified name, what it calls, whether it notes something."""
    methods = writing_methods()
    for name, function, _ in functions_in(ast.parse(source)):
        written = set()
        notes = False
        for node in ast.walk(function):
            notes |= bool(NOTES.intersection(_called(node)))
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                continue
            store = node.func.value
            if isinstance(store, ast.Attribute) and node.func.attr in methods.get(store.attr, ()):
                written.add(f"{store.attr}.{node.func.attr}")
        kept = {each for each in written if each.partition(".")[0] not in DERIVED}
        if kept:
            yield name, kept, notes


@cache
def writes() -> dict[str, tuple[set[str], bool]]:
    return {
        f"{name}::{function}": (written, notes)
        for name in own_files()
        if name.startswith("service/") and not name.startswith("service/database/")
        if name.endswith(".py")
        for function, written, notes in writes_of(text_of(name))
    }


def test_the_rule_sees_the_stores() -> None:
    methods = writing_methods()
    assert {"add", "cancel"} == methods["pauses"]
    assert "save_bundle" in methods["blocks"] and "get_bundle" not in methods["blocks"]
    assert len(writes()) > 20
    assert set(methods) >= set(DERIVED)


def test_every_write_notes_what_it_changed() -> None:
    silent = {
        name: sorted(written)
        for name, (written, notes) in writes().items()
        if not notes and name not in BY_MACHINES and name not in NOTED_ABOVE
    }
    assert silent == {}


def test_every_exemption_is_of_a_write_that_notes_nothing() -> None:
    found = writes()
    for name in (*BY_MACHINES, *NOTED_ABOVE):
        assert name in found, name
        assert not found[name][1], name


@pytest.mark.parametrize(
    ("line", "is_noted"),
    [
        ("    unit.audit.note(Subject.PAUSE, 'p', farm_id=farm, after=pause)", True),
        ("    count = replan_after(unit, [farm])", False),
    ],
)
def test_an_operation_that_forgets_is_noticed(line: str, is_noted: bool) -> None:
    source = f"def pause(unit, farm, pause):\n    unit.pauses.add(pause)\n{line}\n"
    assert list(writes_of(source)) == [("pause", {"pauses.add"}, is_noted)]
