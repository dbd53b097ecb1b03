"""The no-water periods of a block, read from a farm file."""

from __future__ import annotations

from service.agronomy.records import NoWaterPeriod
from service.farm_files.block_keys import BlockKeys
from service.farm_files.block_part_keys import NoWaterKeys
from service.farm_files.quantities import show
from service.farm_files.toml_table import TomlTable


def read_no_water(table: TomlTable) -> tuple[NoWaterPeriod, ...]:
    """The periods of a ``[[block]]`` table, those without a fault."""
    periods: list[NoWaterPeriod] = []
    for period in table.tables(BlockKeys.no_water):
        starts = period.local_moment(NoWaterKeys.start)
        ends = period.local_moment(NoWaterKeys.end)
        reason = period.text(NoWaterKeys.reason)
        period.close()
        if starts is None or ends is None:
            continue
        if starts >= ends:
            found = show(period.value(NoWaterKeys.end))
            period.refuse(NoWaterKeys.end, found, f"later than {starts.isoformat(' ')}")
            continue
        periods.append(NoWaterPeriod(starts, ends, reason))
    return tuple(periods)
