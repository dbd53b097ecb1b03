"""The catalogues: ``en.po`` and ``es.po``, read as they are."""

from __future__ import annotations

import gettext
import io
from functools import cache
from importlib import resources

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

LANGUAGES = ("en", "es")
SOURCE_LANGUAGE = "en"
"""What the keys of the catalogues are written in."""


def marked(text: str) -> str:
    """The text itself; marks it for translation later, where it is shown."""
    return text


@cache
def translations(language: str) -> gettext.GNUTranslations:
    """The texts of a language; raises KeyError for an unknown one."""
    if language not in LANGUAGES:
        raise KeyError(f"no catalog for {language!r}; there are {', '.join(LANGUAGES)}")
    compiled = io.BytesIO()
    write_mo(compiled, read_catalogue(language))
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)


def read_catalogue(language: str) -> Catalog:
    """A catalogue as stored."""
    source = resources.files("service.translations").joinpath(f"{language}.po")
    return read_po(io.BytesIO(source.read_bytes()), locale=language, domain="rillwright")
