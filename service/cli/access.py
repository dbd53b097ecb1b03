"""API keys: made, listed and revoked by the operator on the server."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from typing import Annotated

import typer

from service.cli.terminal import (
    JsonOption,
    note,
    open_service,
    out,
    parse_day,
    plain_table,
    print_json,
)
from service.operations.access.manage_keys import Right, list_keys, make_key, revoke_key
from service.records.access import ApiKey

keys = typer.Typer(no_args_is_help=True, help="Make, list and revoke the API's bearer keys.")


@keys.command("add")
def add(
    name: Annotated[str, typer.Argument(help="The person or device the key is for.")],
    scope: Annotated[
        list[Right],
        typer.Option("--scope", help="Scope of the key; may be repeated."),
    ],
    farm: Annotated[
        str | None, typer.Option("--farm", help="Farm the key is bound to; it need not exist yet.")
    ] = None,
    region: Annotated[
        bool, typer.Option("--region", help="Not bound to a farm, for advisers and operators.")
    ] = False,
    expires: Annotated[
        date | None,
        typer.Option(
            "--expires",
            parser=parse_day,
            metavar="DATE",
            help="Last day (UTC) on which it is valid.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Make a key; it is shown only once."""
    if (farm is None) is not region:
        message = "give either --farm ID or --region"
        raise typer.BadParameter(message)
    service = open_service()
    key, token = make_key(
        name,
        farm_id=farm,
        scopes=[str(each) for each in scope],
        expires_at=None if expires is None else datetime.combine(expires, time.max, tzinfo=UTC),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if as_json:
        print_json({**_document(key), "key": token})
        return
    note(f"key {key.key_id} of {name!r}; it is shown only once, so store it now:")
    out.print(token, soft_wrap=True)


@keys.command("list")
def show(
    all_keys: Annotated[
        bool, typer.Option("--all", help="Include revoked and expired keys.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """List keys: who has them, their scopes, and when they were last used."""
    service = open_service()
    now = service.clock.now()
    found = [
        key for key in list_keys(unit_of_work=service.unit_of_work) if all_keys or key.is_live(now)
    ]
    if as_json:
        print_json([_document(key) for key in found])
        return
    table = plain_table("Key", "Holder", "Farm", "Scopes", "Made", "Valid until", "Last used")
    for key in found:
        until = _day(key.expires_at) or "no end"
        if key.revoked_at is not None:
            until = f"revoked {_day(key.revoked_at)}"
        table.add_row(
            key.key_id,
            key.name,
            key.farm_id or "region",
            " ".join(sorted(key.scopes)),
            _day(key.created_at),
            until,
            _day(key.last_used_at) or "never",
        )
    out.print(table)
    if not found:
        note("no keys; the API is open, on this machine only, until the first key is made")


@keys.command("revoke")
def revoke(
    key_id: Annotated[str, typer.Argument(help="Id of the key, as `keys list` shows it.")],
    as_json: JsonOption = False,
) -> None:
    """Revoke a key; takes effect in all server processes within a second."""
    service = open_service()
    is_new = revoke_key(key_id, unit_of_work=service.unit_of_work, clock=service.clock)
    if as_json:
        print_json({"key_id": key_id, "is_new": is_new})
        return
    out.print(f"key {key_id} {'is revoked' if is_new else 'was revoked before'}")


def _day(at: datetime | None) -> str:
    return "" if at is None else f"{at:%Y-%m-%d %H:%M}"


def _document(key: ApiKey) -> dict[str, object]:
    return {
        "key_id": key.key_id,
        "name": key.name,
        "farm_id": key.farm_id,
        "scopes": sorted(key.scopes),
        "created_at": key.created_at,
        "expires_at": key.expires_at,
        "revoked_at": key.revoked_at,
        "last_used_at": key.last_used_at,
    }
