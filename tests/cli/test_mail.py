"""Mails and people from the command line."""

from __future__ import annotations

from email import message_from_bytes, policy
from pathlib import Path

import orjson
import pytest

from tests.cli.conftest import Command, document
from tests.mail_relay import running_relay


def test_the_preview_of_a_mail_is_a_message_that_mail_programs_open(
    demo: Command, tmp_path: Path
) -> None:
    target = tmp_path / "out.eml"
    result = demo("mail", "--preview", "--farm", "larkbend", "--on", "2026-07-15", str(target))
    assert result.exit_code == 0, result.output
    message = message_from_bytes(target.read_bytes(), policy=policy.default)
    subject = message["Subject"].strip()
    assert subject.startswith("Wed: water 5 of 6, first ")
    assert subject.endswith(" - Larkbend Farm (invented)")
    body = message.get_body(("plain",))
    assert body is not None
    text = body.get_content()
    plans = document(demo("plan", "--json", "--on", "2026-07-15"))
    for plan in plans:
        assert plan["name"] in text
        if plan["planned_min"]:
            assert f"{plan['planned_min']} min" in text


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("evening", "5 de 6 bloques"),
        ("weekly", "Se regaron"),
        ("bulletin", "Más agua: Dunmere"),
    ],
)
def test_a_preview_in_spanish_as_a_page(
    demo: Command, tmp_path: Path, kind: str, text: str
) -> None:
    target = tmp_path / "out.html"
    day = "2026-07-15" if kind == "evening" else "2026-07-13"
    result = demo("mail", "--preview", "--kind", kind, "--on", day, "--lang", "es", str(target))
    assert result.exit_code == 0, result.output
    assert text in target.read_text("utf-8")


def test_the_bulletin_has_the_numbers_of_the_counties_command(
    demo: Command, tmp_path: Path
) -> None:
    target = tmp_path / "out.eml"
    demo("mail", "--preview", "--kind", "bulletin", "--on", "2026-07-13", "--units", "si",
         str(target))  # fmt: skip
    message = message_from_bytes(target.read_bytes(), policy=policy.default)
    body = message.get_body(("plain",))
    assert body is not None
    text = "\n".join(body.get_content().splitlines())
    blocks = document(demo("plan", "--json", "--on", "2026-07-15"))
    first_block = min(plan["block_id"] for plan in blocks)
    shown = document(demo("counties", "--json", "--block", first_block, "--from", "2026-07-07"))
    for county in shown["counties"]:
        part = text[text.index(county["name"]) :]
        assert f": {county['gross_need_mm']:.1f}\n" in part
        assert f": {county['reference_et_mm']:.1f}\n" in part


@pytest.mark.parametrize(
    "arguments",
    [
        ("mail",),
        ("mail", "--preview", "--send"),
        ("mail", "--preview"),
        ("mail", "--preview", "out.pdf"),
        ("people", "add", "no-address", "--name", "X", "--farm", "larkbend"),
        ("people", "add", "a@example.org", "--name", "X"),
        ("people", "add", "a@example.org", "--name", "X", "--role", "adviser", "--farm", "f"),
        ("people", "add", "a@example.org", "--name", "X", "--farm", "larkbend", "--gets", "news"),
    ],
)
def test_what_makes_no_sense_is_refused_with_what_is_allowed(
    demo: Command, arguments: tuple[str, ...]
) -> None:
    result = demo(*arguments)
    assert result.exit_code == 2
    assert "allowed" in result.output


def test_without_a_relay_nothing_is_sent(demo: Command) -> None:
    result = demo("mail", "--send")
    assert result.exit_code == 1
    assert "RILLWRIGHT_MAIL_HOST" in result.output


def test_people_are_added_listed_and_removed(own_demo: Command) -> None:
    added = own_demo("people", "add", "Ana@Example.ORG", "--name", "Ana", "--farm", "larkbend",
                     "--lang", "es", "--gets", "evening")  # fmt: skip
    assert added.exit_code == 0, added.output
    (known,) = document(own_demo("people", "list", "--json"))
    assert known == {
        "mail_address": "Ana@example.org",
        "name": "Ana",
        "role": "grower",
        "language": "es",
        "unit_system": "us",
        "receives": ["evening"],
        "farm_id": "larkbend",
        "suppressed_at": None,
        "suppressed_reason": "",
    }
    assert "Ana@example.org" in own_demo("people", "list").output
    assert own_demo("people", "resume", "Ana@example.org").exit_code == 0
    assert own_demo("people", "remove", "Ana@example.org").exit_code == 0
    assert own_demo("people", "remove", "Ana@example.org").exit_code == 1
    assert document(own_demo("people", "list", "--json")) == []


def test_an_evening_run_by_hand_is_mailed_by_hand(own_demo: Command) -> None:
    # The clock is the machine's and the demonstration's days are over: nothing is due.
    own_demo("people", "add", "ana@example.org", "--name", "Ana", "--farm", "larkbend")
    with running_relay() as relay:
        result = own_demo(
            "mail",
            "--send",
            "--json",
            RILLWRIGHT_MAIL_HOST="127.0.0.1",
            RILLWRIGHT_MAIL_PORT=str(relay.port),
            RILLWRIGHT_MAIL_SECURITY="none",
            RILLWRIGHT_MAIL_FROM="plans@example.org",
        )
        assert result.exit_code == 0, result.output
        shown = orjson.loads(result.stdout)
        assert shown["trouble"] == ""
        # Last week's summary is due from Monday to Wednesday, whatever the date of the test.
        assert shown["sent"] == len(relay.accepted) <= 1


def test_a_relay_without_a_sender_address_is_refused(demo: Command) -> None:
    result = demo("mail", "--send", RILLWRIGHT_MAIL_HOST="127.0.0.1")
    assert result.exit_code == 2
    assert "RILLWRIGHT_MAIL_FROM" in result.output


def test_the_people_of_a_farm_file_get_its_mails(empty: Command, tmp_path: Path) -> None:
    template = Path(__file__).parents[2] / "examples" / "farm-template.toml"
    assert empty("load", str(template)).exit_code == 0
    (known,) = document(empty("people", "list", "--json"))
    assert (known["mail_address"], known["language"]) == ("ana@example.org", "es")
    again = document(empty("load", str(template), "--json"))
    assert again["created_count"] == again["changed_count"] == 0
