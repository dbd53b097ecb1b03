"""The demonstration farm: an invented farm, invented counties, invented weather.

NOTHING HERE IS REAL. Larkbend Farm, its blocks, the counties XX-01 to XX-04 and every weather value
were made up to show the service at work; they describe no place, no person and no season; neither
do the leaf, soil and water analyses, the runs, the field test and the forecasts of past days. The
weather was written by ``examples/make_demo_weather.py``, which gives the same bytes each time.

The files travel inside the package so that ``rillwright demo`` works wherever the service is
installed: ``farm.toml``, one CSV per site in ``weather``, and what was reported of the creek block.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

FARM_ID = "larkbend"
FARM_SITE_ID = "demo-alderway"
"""Where the farm lies."""
DEMO_DAY = date(2026, 7, 14)
"""The evening that the demonstration stands in; its weather is forecast from this day on."""
FIRST_EVENING = date(2026, 7, 7)
"""First evening that is planned; the ledgers of the demonstration begin on it."""
REFERENCE_BLOCK_ID = "larkbend.creek"
"""The block by which the demonstration compares its counties."""
FOLDER = Path(__file__).parent
FARM_FILE = FOLDER / "farm.toml"
BOUNDARY_FILE = FOLDER / "counties.geojson"
"""Invented outlines of the invented counties."""
BOUNDARY_SOURCE = "Boundaries: invented"
LEAF_FILE = FOLDER / "leaf.toml"
SOIL_FILE = FOLDER / "soil.toml"
TEST_FILES = (
    (REFERENCE_BLOCK_ID, LEAF_FILE),
    (REFERENCE_BLOCK_ID, SOIL_FILE),
    ("larkbend.young", FOLDER / "leaf_young.toml"),
    ("larkbend.apples", FOLDER / "leaf_apples.toml"),
)
"""Leaf and soil tests by block; a leaf test also says which blueberry or apple it is."""
WATER_FILE = FOLDER / "water.toml"
RUNS_FILE = FOLDER / "runs.csv"
"""Metered runs of the reference block before its books begin: the plans do not rest on them."""
RUNS_FROM = date(2026, 5, 18)
WATER_SUPPLY_ID = "creek-pump"
CATCH_TEST_DAY = date(2026, 4, 20)
CAUGHT_ML = (
    158.0, 160.0, 155.0, 161.0, 149.0, 157.0, 159.0, 152.0, 160.0, 146.0,
    156.0, 158.0, 150.0, 162.0, 154.0, 157.0, 143.0, 159.0, 155.0, 151.0,
)  # fmt: skip
"""An invented field test of the reference block: what emitters gave in five minutes."""
VISIT_NOTES = (
    (
        date(2026, 6, 18),
        REFERENCE_BLOCK_ID,
        "Row 12 dripped at its far end: mended. Filter gauges 4 psi apart; 2 after flushing.",
    ),
    (
        date(2026, 7, 9),
        "larkbend.young",
        "Soil moist a hand deep under the fabric. Two emitters plugged in row 3, exchanged.",
    ),
)
"""Invented visits: the day, the block, what was seen."""
VISITOR = "invented adviser"
TIMER_BLOCK_ID = "larkbend.peaches"
"""Runs on a battery timer that is set to the program of the first evening."""


def weather_file(site_id: str) -> Path:
    """The weather file of one of the demonstration's sites."""
    return FOLDER / "weather" / f"{site_id}.csv"
