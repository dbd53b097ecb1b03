"""How long files take to read, compared with the standard library's parser on the same text.

    python -m tests.benchmarks.read_files [--lines 99999] [--blocks 1000]

A weather file of as many lines as are taken, and a farm file of a thousand blocks; all invented.
The bars are 2 s and 5 s of processor time. The standard library's parsers only take the text apart:
the ratio is the price of units, bounds and places of faults.
"""

from __future__ import annotations

import argparse
import csv
import io
import math
import time
import tomllib
from collections.abc import Callable

import numpy as np

from service.farm_files.farm_file import parse_farm
from service.farm_files.weather_file import parse_weather

FARM = """
[farm]
id = "invented"
name = "Invented farm"
zone = "America/New_York"

[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"

[[supply]]
id = "well"
flow = "400 gpm"
"""
BLOCK = """
[[block]]
id = "b{number}"
crop = "grape-wine"
area = "0.4 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = {{ texture = "loam" }}
"""


def main() -> None:
    """Read both files and print times and ratios."""
    parser = argparse.ArgumentParser(description="times of reading files")
    parser.add_argument("--lines", type=int, default=99_999)
    parser.add_argument("--blocks", type=int, default=1000)
    options = parser.parse_args()
    weather = _weather_file(options.lines)
    content = weather.encode()
    _compare(
        f"{options.lines} days of weather",
        lambda: parse_weather(content, name="invented.csv"),
        "csv",
        lambda: list(csv.reader(io.StringIO(weather))),
    )
    farm = FARM + "".join(BLOCK.format(number=number) for number in range(options.blocks))
    _compare(
        f"{options.blocks} blocks of a farm",
        lambda: parse_farm(farm, name="invented.toml"),
        "tomllib",
        lambda: tomllib.loads(farm),
    )


def _compare(
    what: str, ours: Callable[[], object], their_name: str, theirs: Callable[[], object]
) -> None:
    ours_s, theirs_s = _best_s(ours), _best_s(theirs)
    print(f"{what}: {ours_s:.3f} s; {their_name} {theirs_s:.3f} s, ratio {ours_s / theirs_s:.1f}")


def _weather_file(line_count: int) -> str:
    lines = [
        f"{day},{n % 400 / 10:.1f},{n % 97 / 10 - 15:.1f},{n % 173 / 10:.1f},{n % 50:.0f}"
        for n, day in enumerate(np.datetime64("1900-01-01") + np.arange(line_count))
    ]
    return "\n".join(["date,tmax_c,tdew_c,wind_m_s,rain_mm", *lines])


def _best_s(call: Callable[[], object], *, rounds: int = 3) -> float:
    """Processor time of the quickest of several rounds."""
    best = math.inf
    for _ in range(rounds):
        started = time.process_time()
        call()
        best = min(best, time.process_time() - started)
    return best


if __name__ == "__main__":
    main()
