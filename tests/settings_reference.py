"""The reference of all settings, in ``deploy/settings.md``, made from their declarations.

After a change of a setting:

    python -m tests.settings_reference
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import get_args

from pydantic import SecretStr
from pydantic.fields import FieldInfo

from service.settings import Settings

PAGE = Path(__file__).resolve().parent.parent / "deploy" / "settings.md"
_HEAD = """# Settings

Each is an environment variable or, in a folder that `RILLWRIGHT_SECRETS` (or systemd's credentials)
names, a file with its name in small letters. A value that cannot be used stops the start with a
line that says where, what and what is allowed. Secrets are marked; give them as files. Made by
`python -m tests.settings_reference`.

| variable | default | what it is for |
|---|---|---|
"""


def reference() -> str:
    """The page."""
    return _HEAD + "".join(_row(name, field) for name, field in Settings.model_fields.items())


def _row(name: str, field: FieldInfo) -> str:
    text = (field.description or "").replace("|", "\\|").replace("\n", " ")
    parts = [text] if text else []
    if _is_secret(field):
        parts.append("**secret**")
    return f"| `RILLWRIGHT_{name.upper()}` | {_default(field)} | {'; '.join(parts)} |\n"


def _is_secret(field: FieldInfo) -> bool:
    return SecretStr in {field.annotation, *_members(field.annotation)}


def _members(annotation: object) -> Iterator[object]:
    for each in get_args(annotation):
        yield each
        yield from _members(each)


def _default(field: FieldInfo) -> str:
    value = field.get_default(call_default_factory=True)
    if isinstance(value, SecretStr) or value in (None, "", ()):
        return ""
    if isinstance(value, tuple):
        return "`[" + ", ".join(f'"{each}"' for each in value) + "]`"
    return f"`{str(value).lower() if isinstance(value, bool) else value}`"


if __name__ == "__main__":
    PAGE.write_text(reference(), "utf-8")
