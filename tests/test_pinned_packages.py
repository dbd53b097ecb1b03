"""The pinned lists: every package with hashes, no index, nothing that the project needs left out.

``bash deploy/pin.sh`` writes them again.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
PINNED = re.compile(
    r"^([A-Za-z0-9._-]+)==([^\s;]+)(?: ; [^\\]+?)?((?: \\\n    --hash=sha256:[0-9a-f]{64})+)$"
)


def pinned(name: str) -> dict[str, tuple[str, str]]:
    """Version and hashes of each package of a list; the file holds nothing else but comments."""
    text = (ROOT / "deploy" / name).read_text("utf-8")
    entries = re.split(r"\n(?=\S)", re.sub(r"(?m)^#.*\n", "", text).strip())
    matches = [PINNED.match(entry) for entry in entries]
    assert all(matches), [
        entry[:80] for entry, match in zip(entries, matches, strict=True) if not match
    ]
    return {match[1]: (match[2], match[3]) for match in matches if match}


def test_the_service_runs_on_what_its_tests_run_on() -> None:
    ours, all_of_them = pinned("requirements.txt"), pinned("constraints.txt")
    with_tools = pinned("requirements-tools.txt")
    assert ours.items() < with_tools.items() < all_of_them.items()
    with_cluster = pinned("requirements-cluster.txt")
    assert ours.items() < with_cluster.items() < all_of_them.items()
    assert "distributed" in with_cluster and "distributed" not in with_tools
    assert "pytest" not in with_tools
    assert "mcp" in with_tools and "mcp" not in ours


@pytest.mark.parametrize(
    "name",
    ["requirements.txt", "requirements-tools.txt", "requirements-cluster.txt", "constraints.txt"],
)
def test_no_list_names_an_index_or_an_address(name: str) -> None:
    text = (ROOT / "deploy" / name).read_text("utf-8")
    assert not re.search(r"://|--(?:extra-)?index-url|--find-links", text)


def test_everything_that_the_project_names_is_pinned_within_its_range() -> None:
    document = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    project = document["project"]
    needed = [*document["build-system"]["requires"], *project["dependencies"]]
    extras = project["optional-dependencies"]
    for name, texts in (
        ("requirements.txt", needed),
        ("requirements-tools.txt", [*needed, *extras["tools"]]),
        ("requirements-cluster.txt", [*needed, *extras["cluster"]]),
        ("constraints.txt", [*needed, *extras["tools"], *extras["cluster"], *extras["test"]]),
    ):
        versions = {each: version for each, (version, _) in pinned(name).items()}
        for requirement in map(Requirement, texts):
            found = versions.get(canonicalize_name(requirement.name), "")
            assert found and requirement.specifier.contains(found), f"{name}: {requirement}"
