"""The numbers of a block while its table is being read, each with its origin."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from service.farm_files.block_keys import GIVEN
from service.farm_files.keys import NumberKey
from service.farm_files.toml_table import TomlTable

_SCALED_BY = {
    "root_depth_is_scaled": "root_depth_m",
    "root_share_is_scaled": "root_share_of_wetted",
    "canopy_is_scaled": "canopy_cover_fraction",
    "canopy_height_is_scaled": "canopy_height_m",
}


@dataclass(slots=True)
class BlockDraft:
    """The numbers of a block while it is being read; NaN after a fault."""

    numbers: dict[str, float] = field(default_factory=dict)
    origins: dict[str, str] = field(default_factory=dict)
    is_on_substrate: bool = False
    """Whether its soil is bark, peat or full of organic matter."""

    def take(
        self, table: TomlTable | None, key: NumberKey, default: float | None, origin: str
    ) -> float:
        """Read one number; without it the default is used, and with default None it is required."""
        if table is not None and table.has(key):
            self.numbers[key.field] = table.number(key)
            self.origins[key.field] = GIVEN
        elif default is None and table is not None:
            self.numbers[key.field] = table.number(key)
        else:
            number = math.nan if default is None else default
            self.numbers[key.field] = number
            self.origins[key.field] = origin
            # A default worked out from odd numbers can be as wrong as a given one.
            if table is not None and (number < key.measure.lowest or number > key.measure.highest):
                table.refuse(
                    key,
                    f"{table.amount(number, key.measure)} by default ({origin})",
                    table.in_words(key.measure),
                )
        return self.numbers[key.field]

    def note_what_grows(self) -> None:
        """Note which sizes are those of a full-size planting."""
        for scaled, source in _SCALED_BY.items():
            is_default = self.origins.get(source) != GIVEN
            is_dated = source.startswith("canopy") and not math.isnan(
                self.numbers["canopy_measured_year"]
            )
            given = "measured, grows from there" if is_dated else "given for this year"
            self.numbers[scaled] = float(is_default)
            self.origins[scaled] = "full-size default, grows with age" if is_default else given
