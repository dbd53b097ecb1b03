"""A test of a pure room starts at once: what the other rooms need, their own tests load."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SLOW_TO_LOAD = (
    "alembic", "babel", "fastapi", "httpx", "numba", "pandas", "pint", "pydantic", "schemathesis",
    "sqlalchemy", "xarray",
)  # fmt: skip
"""Each takes a tenth of a second to a second of every run that loads it."""

RUN = f"""
import sys
import pytest

code = pytest.main(["-q", "-n", "0", "-p", "no:cacheprovider", "tests/agronomy/test_soil.py"])
print("loaded:", *sorted(sys.modules.keys() & set({SLOW_TO_LOAD!r})))
sys.exit(code)
"""


def test_a_test_of_a_pure_room_loads_nothing_of_the_others() -> None:
    run = subprocess.run(
        [sys.executable, "-c", RUN], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr
    assert run.stdout.splitlines()[-1] == "loaded:", run.stdout
