"""A client that is generated from the served document has types, and does a grower's round.

openapi-python-client is run as anybody would run it. What it could not express is mended in the
document, never in what it writes.
"""

from __future__ import annotations

import asyncio
import importlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.farm_files.farm_file import parse_farm
from tests.api.callers import new_key, see_news
from tests.api.conftest import Client
from tests.api.invented_farm import bring_weather, plan_evening
from tests.api.openapi_snapshot import app_without_database

SCRIPT = Path(__file__).with_name("client_script") / "growers_round.py"
SETTINGS = """\
[mypy]
strict = True

[mypy-rillwright_client.client]
# The generator's own template hands on to __exit__ whatever it is given.
disable_error_code = arg-type
"""


def _run(folder: Path, *command: str) -> str:
    """What a module of this environment prints; it must succeed."""
    done = subprocess.run(
        [sys.executable, "-m", *command],
        cwd=folder,
        env={**os.environ, "COLUMNS": "200", "NO_COLOR": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder with the client and the script that uses it, and what the generator said."""
    folder = tmp_path_factory.mktemp("client")
    served = Client(app_without_database()).get("/openapi.json")
    (folder / "openapi.json").write_bytes(served.content)
    (folder / "generator.yml").write_text("post_hooks: []\n", "utf-8")  # no need to format it
    said = _run(
        folder,
        "openapi_python_client",
        "generate",
        "--path=openapi.json",
        "--config=generator.yml",
        "--output-path=rillwright_client",
        "--meta=none",
    )
    shutil.copy(SCRIPT, folder)
    return folder, said


@pytest.fixture
def growers_round(
    generated: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Any, Any]]:
    """The script, and the client that it uses."""
    monkeypatch.syspath_prepend(str(generated[0]))
    yield (
        importlib.import_module(SCRIPT.stem),
        importlib.import_module("rillwright_client").AuthenticatedClient,
    )
    for name in [each for each in sys.modules if each.partition(".")[0] == "rillwright_client"]:
        del sys.modules[name]
    del sys.modules[SCRIPT.stem]


def test_the_whole_document_can_be_generated_from(generated: tuple[Path, str]) -> None:
    # Runs and observations can be sent as CSV; the generator knows JSON and forms.
    warnings = [line for line in generated[1].splitlines() if "WARNING" in line]
    assert warnings == [
        "WARNING parsing POST /v1/run-files within feedback. Endpoint will not be generated.",
        "WARNING parsing POST /v1/observations within feedback.",
    ], generated[1]
    assert "Unsupported content type text/csv" in generated[1]


def test_the_client_and_what_uses_it_keep_to_strict_types(generated: tuple[Path, str]) -> None:
    folder, _ = generated
    (folder / "mypy.ini").write_text(SETTINGS, "utf-8")
    said = _run(
        folder,
        "mypy",
        "--config-file=mypy.ini",
        "--no-incremental",
        "rillwright_client",
        SCRIPT.name,
    )
    assert "Success: no issues found" in said


def test_a_grower_goes_a_whole_round_with_it(
    growers_round: tuple[Any, Any], own_service: Service
) -> None:
    script, client_of = growers_round
    app = create_app(own_service)
    client = client_of(
        base_url="http://127.0.0.1",
        token=new_key(own_service, script.FARM)[1],
        httpx_args={"transport": httpx.ASGITransport(app=app)},
    )

    asyncio.run(script.put_farm(client))
    bring_weather(own_service, site_id=script.SITE)
    assert plan_evening(own_service) == []
    see_news(app)
    exported = asyncio.run(script.go_round(client))

    bundle = parse_farm(exported, name="exported.toml")
    assert [block.block_id for block in bundle.blocks] == [script.BLOCK]
