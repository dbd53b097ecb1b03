"""The catalogues: ``en.po`` and ``es.po``, read as they are.

The code spells English the British way. Readers with US units get the same texts in American
spelling: the texts of the catalogue alone, never the values put into them or what users typed.
"""

from __future__ import annotations

import gettext
import io
import re
from functools import cache
from importlib import resources

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

LANGUAGES = ("en", "es")
SOURCE_LANGUAGE = "en"
"""What the keys of the catalogues are written in."""
AMERICAN_WORDS = {
    "aluminium": "aluminum",
    "analysed": "analyzed",
    "cancelled": "canceled",
    "centimetre": "centimeter",
    "centimetres": "centimeters",
    "colour": "color",
    "colours": "colors",
    "fertiliser": "fertilizer",
    "fertilisers": "fertilizers",
    "grey": "gray",
    "kilometre": "kilometer",
    "kilometres": "kilometers",
    "litre": "liter",
    "litres": "liters",
    "metre": "meter",
    "metres": "meters",
    "millimetre": "millimeter",
    "millimetres": "millimeters",
    "neighbour": "neighbor",
    "neighbours": "neighbors",
    "neutralising": "neutralizing",
    "oxidise": "oxidize",
    "oxidised": "oxidized",
    "oxidises": "oxidizes",
    "recognised": "recognized",
    "vapour": "vapor",
}
"""The American spelling of each word that the texts spell the British way."""
_PLACE_OR_WORD = re.compile(r"\{[^{}]*\}|\b(?:" + "|".join(AMERICAN_WORDS) + r")\b", re.IGNORECASE)


def marked(text: str) -> str:
    """The text itself; marks it for translation later, where it is shown."""
    return text


def american(text: str) -> str:
    """The text in American spelling; what is in braces stays.

    >>> american("Litres of fertiliser: {litres}")
    'Liters of fertilizer: {litres}'
    """
    return _PLACE_OR_WORD.sub(_american_word, text)


def _american_word(found: re.Match[str]) -> str:
    word = found.group()
    spelled = AMERICAN_WORDS.get(word.lower(), word)
    return spelled.capitalize() if word[0].isupper() else spelled


@cache
def translations(language: str, *, is_american: bool = False) -> gettext.GNUTranslations:
    """The texts of a language; raises KeyError for an unknown one."""
    if language not in LANGUAGES:
        raise KeyError(f"no catalogue for {language!r}; there are {', '.join(LANGUAGES)}")
    catalogue = read_catalogue(language)
    if is_american:
        for message in catalogue:
            if message.id:
                message.string = (
                    american(message.string or "")
                    if not isinstance(message.string, list | tuple)
                    else tuple(american(form) for form in message.string)
                )
    compiled = io.BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)


def read_catalogue(language: str) -> Catalog:
    """A catalogue as stored."""
    source = resources.files("service.translations").joinpath(f"{language}.po")
    return read_po(io.BytesIO(source.read_bytes()), locale=language, domain="rillwright")
