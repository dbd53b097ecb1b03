"""A value as a laboratory prints it: a number, perhaps below detection, and its unit."""

from __future__ import annotations

import re

from service.errors import Fault, InputInvalid
from service.farm_files.quantities import show

_VALUE = re.compile(r"(<?)\s*([0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)\s*(.*)")
# A comma and three digits: thousands to some, decimals to others, which differ by a factor of
# 1,000.
_EITHER_COMMA = re.compile(r"[1-9][0-9]*,[0-9]{3}")


def printed_value(where: str, text: str, *, title: str, allowed: str) -> tuple[float, str, bool]:
    """Number, unit, and whether it is below the limit of detection; raises InputInvalid."""
    match = _VALUE.fullmatch(text.strip())
    if match is None:
        raise InputInvalid(title, [Fault(where, show(text), allowed)])
    if _EITHER_COMMA.fullmatch(match[2]):
        whole, point = match[2].replace(",", ""), match[2].replace(",", ".")
        raise InputInvalid(
            title, [Fault(where, show(text), f"{whole} or {point}: a comma here may mean either")]
        )
    return float(match[2].replace(",", ".")), match[3], match[1] == "<"
