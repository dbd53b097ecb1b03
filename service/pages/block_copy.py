"""A new block that begins as a copy of one there is."""

from __future__ import annotations

from dataclasses import replace

from service.pages.farm_forms import Form, Opened, Table, change_block, slug


def copied_block(table: Table, form: Form, opened: Opened) -> Table:
    """The table of a new block that is like a stored one but for what its form says."""
    return {**change_block(table, form, opened), "id": slug(form.get("name", ""))}


def without_name(opened: Opened) -> Opened:
    """What a copy begins with: everything but the name, and no version, as nothing is changed."""
    return replace(opened, form={**opened.form, "name": ""}, version="")
