"""Examples of ledgers as tables."""

from __future__ import annotations

from typing import Final

from service.api.examples import BALANCE_DAY

_SHOWN: Final = {name: value for name, value in BALANCE_DAY.items() if name != "flags"}
BALANCE_CSV: Final = (
    f"{','.join(_SHOWN)}\r\n"
    f"{','.join('' if value is None else str(value).lower() for value in _SHOWN.values())}\r\n"
)
