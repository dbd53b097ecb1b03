"""Published crop numbers: the perennial fruit rows of FAO-56, one frozen record per crop.

This is a table, not a step. In: the key of a crop. Out: its row, which the farm loader uses to
fill the gaps of a block. The numbers are data: ``crop_table.toml`` beside this file names the
edition, table and page of each, and is read once. Numbers without a published value are this
project's own choices and are marked so there; the grower can override every one.
"""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from importlib.resources import files
from types import MappingProxyType

from service.agronomy.crop_file import CropRow, read_crop_rows
from service.errors import Fault, InputInvalid

CROPS: Mapping[str, CropRow] = MappingProxyType(
    read_crop_rows(files("service.agronomy").joinpath("crop_table.toml").read_text("utf-8"))
)
"""Every crop of the table by its key."""


def find_crop(key: str) -> CropRow:
    """The table's row of a crop, by its key.

    Shapes: scalar.
    key: a key of ``CROPS``, for example ``blueberry`` or ``apple-bare-frost``.
    Returns: the row; an unknown key raises ``InputInvalid``, which lists the closest keys.
    Source: Allen et al. 1998, FAO-56, Tables 11, 12, 22, 23.
    >>> find_crop("grape-wine").kc_mid
    0.7
    """
    row = CROPS.get(key)
    if row is not None:
        return row
    wanted = key.strip().lower().replace("_", "-").replace(" ", "-")
    close = [known for known in CROPS if wanted and known.startswith(wanted)]
    close += [known for known in get_close_matches(wanted, CROPS, n=6) if known not in close]
    allowed = f"did you mean {', '.join(close)}" if close else f"one of {', '.join(CROPS)}"
    raise InputInvalid(
        f"crop {key!r} is not in the crop table", [Fault("crop", repr(key), allowed)]
    )


def season_start_at(latitude_deg: float, start: str) -> tuple[int, int]:
    """Month and day of a season's start that is given for the northern hemisphere.

    Shapes: scalar.
    latitude_deg: degrees north; start: ``MM-DD``, up to the 28th.
    Returns: month, day; six months later in the southern hemisphere.
    Source: choice, no source.
    >>> season_start_at(35.9, "03-20"), season_start_at(-33.5, "03-20")
    ((3, 20), (9, 20))
    """
    month, day = (int(part) for part in start.split("-"))
    return (month, day) if latitude_deg >= 0.0 else ((month + 5) % 12 + 1, day)
