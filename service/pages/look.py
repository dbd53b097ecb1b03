"""What every page has of its look: the style sheet, the font and the icon, served by this service.

The parts of the style sheet are in ``static/look``, in the order in which they are read; browsers
get them packed, as one file. Its address and that of the font come from their contents, so that
browsers may keep them for good.
"""

from __future__ import annotations

import hashlib
import re
from functools import cache
from importlib.resources import files

_STATIC = files("service.pages") / "static"
_FONT_FILE = "radio-canada-latin-wdth-normal.woff2"
_FONT_ADDRESS_IN_SOURCE = "/pages/font.woff2"
_TOKEN = re.compile(r"(--[\w-]+):([^;{}]+);?")
_KEPT_AS_IT_IS = re.compile(r'(/\*.*?\*/|"[^"]*")', re.DOTALL)


@cache
def style() -> bytes:
    """The one style sheet, packed."""
    parts = sorted((_STATIC / "look").iterdir(), key=lambda each: each.name)
    source = "\n".join(part.read_text(encoding="utf-8") for part in parts)
    return packed(source.replace(_FONT_ADDRESS_IN_SOURCE, font_path())).encode()


@cache
def style_path() -> str:
    """The address of the style sheet."""
    return f"/pages/{_digest(style())}.css"


@cache
def font() -> bytes:
    """Radio Canada, Latin, upright, with its axes of weight and width (SIL Open Font License)."""
    return (_STATIC / "font" / _FONT_FILE).read_bytes()


@cache
def font_path() -> str:
    """The address of the font."""
    return f"/pages/{_digest(font())}.woff2"


@cache
def font_licence() -> bytes:
    """The licence that travels with the font."""
    return (_STATIC / "font" / "OFL.txt").read_bytes()


@cache
def icon() -> bytes:
    """The picture of the browser's tab."""
    return (_STATIC / "icon.svg").read_bytes()


def packed(source: str) -> str:
    """A style sheet without comments and without the spaces that only people need.

    >>> packed('a { color: red; }  /* why */  b, c + d { margin: 0 1px; }')
    'a{color:red}b,c+d{margin:0 1px}'
    """
    shorter = []
    for part in _KEPT_AS_IT_IS.split(source):
        if part.startswith('"'):
            shorter.append(part)
        elif not part.startswith("/*"):
            spaced = re.sub(r"\s+", " ", part)
            tight = re.sub(r" ?([{};,]) ?", r"\1", spaced)
            tight = re.sub(r": ", ":", tight).replace(";}", "}")
            tight = re.sub(r" ([+~]) (?=[^;{}]*\{)", r"\1", tight)
            shorter.append(tight.replace(" > ", ">"))
    return _filled_in(re.sub(r"(?<=[{};,]) +|;(?=})", "", "".join(shorter)).strip())


def _filled_in(sheet: str) -> str:
    """The sheet with the values of sizes and weights that are the same by day, night and on paper.

    >>> _filled_in(":root{--a:1px;--b:#fff}p{margin:var(--a);color:var(--b)}")
    ':root{--b:#fff}p{margin:1px;color:var(--b)}'
    """
    found = _TOKEN.findall(sheet)
    names = [name for name, _ in found]
    for name, value in found:
        if names.count(name) == 1 and not value.startswith("#") and "var(" not in value:
            sheet = re.sub(rf"{re.escape(name)}:[^;{{}}]+(?:;|(?=}}))", "", sheet)
            sheet = sheet.replace(f"var({name})", value)
    return sheet.replace(";}", "}")


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]
