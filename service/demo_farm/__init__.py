"""The demonstration farm: an invented farm, invented counties, invented weather.

NOTHING HERE IS REAL. Larkbend Farm, its blocks, the counties XX-01 to XX-04 and every weather value
were made up to show the service at work; they describe no place, no person and no season. The
weather was written by ``examples/make_demo_weather.py``, which gives the same bytes each time.

The files travel inside the package so that ``rillwright demo`` works wherever the service is
installed: ``farm.toml`` and one CSV per site in ``weather``.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

FARM_ID = "larkbend"
DEMO_DAY = date(2026, 7, 14)
"""The evening that the demonstration stands in; its weather is forecast from this day on."""
FIRST_EVENING = date(2026, 7, 7)
"""First evening that is planned; the ledgers of the demonstration begin on it."""
REFERENCE_BLOCK_ID = "larkbend.creek"
"""The block by which the demonstration compares its counties."""
FARM_FILE = Path(__file__).parent / "farm.toml"


def weather_file(site_id: str) -> Path:
    """The weather file of one of the demonstration's sites."""
    return Path(__file__).parent / "weather" / f"{site_id}.csv"
