"""What a form sends: its fields, and on a few pages one file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request

LARGEST_FORM_BYTES: Final = 100_000
LARGEST_UPLOAD_BYTES: Final = 5_100_000
"""A weather file of 5 MB, and the fields beside it."""
MOST_FIELDS: Final = 500
_FORM_TYPES: Final = ("application/x-www-form-urlencoded", "multipart/form-data")


@dataclass(frozen=True, slots=True)
class SentFile:
    """A file as it was chosen in a form."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class SentForm:
    """The fields and files of a form, by name."""

    fields: Mapping[str, str]
    files: Mapping[str, SentFile]


async def read_form(request: Request, *, takes_file: bool) -> SentForm:
    """What was sent; a field for a file that stayed empty is missing.

    Raises HTTPException for a body that is no form or too large.
    """
    declared = request.headers.get("content-length", "")
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media_type not in _FORM_TYPES:
        raise HTTPException(415)
    if not declared.isdigit():
        raise HTTPException(411)
    if int(declared[:12]) > (LARGEST_UPLOAD_BYTES if takes_file else LARGEST_FORM_BYTES):
        raise HTTPException(413)
    fields: dict[str, str] = {}
    files: dict[str, SentFile] = {}
    async with request.form(max_files=int(takes_file), max_fields=MOST_FIELDS) as form:
        for name, value in form.items():
            if isinstance(value, str):
                fields[name] = value.strip()
            elif value.filename:
                files[name] = SentFile(value.filename, await value.read())
    return SentForm(fields, files)
