"""Price lists of parts: a CSV file with the columns ``part`` and ``unit price``.

``part`` is the key that the list of parts shows. A column ``per`` says what a price is for:
``each`` for pieces, a length such as ``ft`` or ``1000 ft`` for pipe; without it, the length is one
foot or one metre, as the farm reads numbers. A column ``amount`` replaces the number of the list,
or counts a line of one's own, such as labor. Every fault is listed.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping
from pathlib import Path

from service.errors import Fault, InputInvalid
from service.farm_files.keys import length
from service.farm_files.near_words import one_of
from service.farm_files.quantities import read_quantity
from service.waterworks.parts_cost import UnitPrice
from service.waterworks.parts_list import PartUnit, part_keys, part_of

LARGEST_FILE_BYTES = 200_000
MOST_LINES = 500
COLUMNS = ("part", "unit price", "per", "amount")
_TITLE = "this price list cannot be used"
_PER = length(0.01, 100_000.0, "'1 ft'", "'1000 ft'", "'1 m'")
_GROUPED = re.compile(r"[0-9]{1,3}(,[0-9]{3})+(\.[0-9]+)?")
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")


def read_price_file(path: Path, *, default_length_m: float) -> dict[str, UnitPrice]:
    """Prices by part; those of pipe are of one metre. Raises InputInvalid with every fault."""
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE_BYTES + 1)
        text = content.decode("utf-8-sig")
    except OSError as error:
        found = error.strerror or type(error).__name__
        raise InputInvalid(_TITLE, [Fault(path.name, found, "a CSV file")]) from error
    except UnicodeDecodeError as error:
        raise InputInvalid(_TITLE, [Fault(path.name, "no text in UTF-8", "CSV UTF-8")]) from error
    if len(content) > LARGEST_FILE_BYTES:
        raise InputInvalid(_TITLE, [Fault(path.name, "a very large file", "up to 200,000 bytes")])
    return parse_prices(text, path.name, default_length_m=default_length_m)


def parse_prices(text: str, name: str, *, default_length_m: float) -> dict[str, UnitPrice]:
    """The same from a text."""
    rows = csv.DictReader(text.splitlines())
    headings = [each.strip().lower() for each in rows.fieldnames or ()]
    rows.fieldnames = headings
    unknown = [each for each in headings if each not in COLUMNS]
    faults = [Fault(f"{name}: column {each}", each, one_of(each, COLUMNS)) for each in unknown]
    faults += [
        Fault(f"{name}: column {each}", "missing", f"a heading with {', '.join(COLUMNS[:2])}")
        for each in COLUMNS[:2]
        if each not in headings
    ]
    if faults:
        raise InputInvalid(_TITLE, faults)
    prices: dict[str, UnitPrice] = {}
    for line, row in enumerate(rows, start=2):
        if line > MOST_LINES:
            raise InputInvalid(_TITLE, [Fault(name, "more lines", f"up to {MOST_LINES}")])
        cells = {key: (cell or "").strip() for key, cell in row.items() if key}
        if not any(cells.values()):
            continue
        try:
            key, price = _price(cells, f"{name}: line {line}", default_length_m)
        except InputInvalid as error:
            faults += error.faults
            continue
        if key in prices:
            faults.append(Fault(f"{name}: line {line}", f"{key} again", "each part once"))
        prices[key] = price
    if faults:
        raise InputInvalid(_TITLE, faults)
    return prices


def _price(cells: Mapping[str, str], where: str, default_length_m: float) -> tuple[str, UnitPrice]:
    key = cells["part"].lower().replace("_", "-").replace(" ", "-")
    amount = None if not cells.get("amount") else _number(cells["amount"], f"{where}, amount")
    price = _number(cells["unit price"].lstrip("$€£ "), f"{where}, unit price")
    per = cells.get("per", "")
    if key not in part_keys():
        if amount is None:
            known = one_of(key, part_keys())
            raise InputInvalid(_TITLE, [Fault(f"{where}, part", key, f"{known}, or an amount")])
        return key, UnitPrice(price, amount)
    if part_of(key, 1.0).unit is not PartUnit.LENGTH:
        if per not in ("", "each"):
            raise InputInvalid(_TITLE, [Fault(f"{where}, per", per, "each, or nothing")])
        return key, UnitPrice(price, amount)
    per_m = default_length_m
    if per:
        written = per if per[0].isdigit() else f"1 {per}"
        per_m = read_quantity(written, _PER, where=f"{where}, per")
    amount_m = None if amount is None else amount * per_m
    return key, UnitPrice(price / per_m, amount_m)


def _number(text: str, where: str) -> float:
    bare = text.replace(",", "") if _GROUPED.fullmatch(text) else text
    value = float(bare) if _NUMBER.fullmatch(bare) else math.nan
    if not value < 1e9:
        allowed = "a number of 0 or more, such as 12.50"
        raise InputInvalid(_TITLE, [Fault(where, text or "nothing", allowed)])
    return value
