"""Rules of the house that no tool of the shelf checks: names, stray notes, the top of the tree.

What counts is what git knows or would take in; in a copy without git, the agreed folders as they
stand.
"""

from __future__ import annotations

import ast
import re
import subprocess
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
OWN_NAME = Path(__file__).resolve().relative_to(ROOT).as_posix()  # it spells what it forbids
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "service",
    "migrations",
    "tests",
    "deploy",
    "examples",
}
BANNED_MODULES = {
    "utils",
    "helpers",
    "common",
    "misc",
    "manager",
    "base",
    "data",
    "info",
    "process",
    "handle",
}
STRAY_NOTES = re.compile("TODO|FIXME|XXX")
MACHINE_PATHS = re.compile(r"(?<![\w.~<>-])/(?:work|root)/")
NOT_RUN = re.compile(r"mark\.(?:skip|xfail)|importorskip|pytest\.(?:skip|xfail)\(")
SILENCED = re.compile(r"#\s*(?:noqa|type:\s*ignore|pragma:\s*no cover)\b")
SILENCED_WITH_REASON = re.compile(
    r"#\s*(?:noqa:\s*[A-Z]+[0-9]+|type:\s*ignore\[[\w-]+\]|pragma:\s*no cover)"
    r"(?:,?\s*[A-Z]+[0-9]+)*\s*(?:-|#|–|:)\s*\w+"
)


def git_files(*options: str) -> list[str] | None:
    """Paths from the root, or None where this is no git checkout."""
    if not (ROOT / ".git").exists():
        return None
    # A container may run the tests as another user than the one who owns the checkout.
    listed = subprocess.run(
        ["git", "-c", f"safe.directory={ROOT}", "ls-files", "-z", *options],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    return [name for name in listed.stdout.decode("utf-8").split("\0") if name]


@cache
def own_files() -> tuple[str, ...]:
    """Every file of the project: tracked, or new and not ignored."""
    names = git_files("--cached", "--others", "--exclude-standard")
    if names is None:
        names = [
            path.relative_to(ROOT).as_posix()
            for top in sorted(TOP_LEVEL)
            for path in [ROOT / top, *(ROOT / top).rglob("*")]
            if "__pycache__" not in path.parts
        ]
    return tuple(sorted({name for name in names if (ROOT / name).is_file()}))


@cache
def text_of(name: str) -> str:
    """A file's text; empty for a file that is not text."""
    try:
        return (ROOT / name).read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


def lines_with(pattern: re.Pattern[str], suffix: str = "") -> list[str]:
    return [
        f"{name}:{number}: {line.strip()}"
        for name in own_files()
        if name.endswith(suffix) and name != OWN_NAME
        for number, line in enumerate(text_of(name).splitlines(), start=1)
        if pattern.search(line)
    ]


def test_the_scan_sees_the_project() -> None:
    assert {"pyproject.toml", "service/__init__.py", "tests/conftest.py"} <= set(own_files())


def test_no_module_or_folder_of_code_has_a_name_that_says_nothing() -> None:
    named = {
        name: BANNED_MODULES.intersection(Path(name).with_suffix("").parts)
        for name in own_files()
        if name.endswith(".py")
    }
    assert {name: parts for name, parts in named.items() if parts} == {}


def test_no_stray_notes_stand_in_the_files() -> None:
    assert lines_with(STRAY_NOTES) == []


def test_no_path_of_a_single_machine_stands_in_the_files() -> None:
    assert lines_with(MACHINE_PATHS) == []


def test_no_test_is_skipped_or_expected_to_fail() -> None:
    assert lines_with(NOT_RUN, ".py") == []


def test_a_silenced_check_names_its_code_and_its_reason() -> None:
    assert [
        line for line in lines_with(SILENCED, ".py") if not SILENCED_WITH_REASON.search(line)
    ] == []


@pytest.mark.parametrize(
    ("line", "has_reason"),
    [
        ("import pint  # noqa: PLC0415 - slow to load", True),
        ("import pint  # noqa: PLC0415", False),
        ("x = f()  # type: ignore[attr-defined]  # the stub lacks it", True),
        ("x = f()  # type: ignore[attr-defined]", False),
        ("import pint  # noqa", False),
    ],
)
def test_a_reason_is_told_from_a_bare_code(line: str, has_reason: bool) -> None:
    assert SILENCED.search(line)
    assert bool(SILENCED_WITH_REASON.search(line)) == has_reason


def test_the_top_of_the_repository_holds_the_agreed_names_and_no_others() -> None:
    names = git_files("--cached")
    if names is None:
        names = list(own_files())
    top = {name.split("/")[0] for name in names}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def listed_without_reason(pyproject: str) -> list[str]:
    """Exclusions of the tools that neither the line nor a comment above the list explains."""
    bare: list[str] = []
    table, is_excluding, is_explained, above = "", False, False, ""
    for raw in pyproject.splitlines():
        line = raw.strip()
        if line.startswith("["):
            table = line
        if line.endswith("= [") and (
            table == "[tool.ruff.lint.per-file-ignores]"
            or (table == "[tool.ruff.lint]" and line.startswith("ignore"))
        ):
            is_excluding, is_explained = True, False
        elif table.startswith("[[tool.mypy.overrides]]") and line.startswith("module = ["):
            is_excluding, is_explained = True, above.startswith("#")
        elif line.startswith("]"):
            is_excluding = False
        elif is_excluding or re.match(r'"(?:ignore:|--ignore=)', line):
            explained_here = is_explained and is_excluding
            if "#" not in line and not explained_here:
                bare.append(line)
        above = line or above
    return bare


def test_every_exclusion_in_pyproject_gives_its_reason() -> None:
    assert listed_without_reason(text_of("pyproject.toml")) == []


def test_an_exclusion_without_a_reason_is_noticed() -> None:
    source = """
[tool.ruff.lint]
ignore = [
    "E501",
    "N818",  # errors state the fact
]
[[tool.mypy.overrides]]
module = [
    "invented.*",
]
"""
    assert listed_without_reason(source) == ['"E501",', '"invented.*",']


def test_the_rules_of_names_leave_nothing_of_agronomy_impure() -> None:
    # import-linter sees imports only; reading the clock or a file needs none of its banned ones.
    for name in own_files():
        if name.startswith(("service/agronomy/", "service/waterworks/")) and name.endswith(".py"):
            calls = {
                ast.unparse(node.func)
                for node in ast.walk(ast.parse(text_of(name)))
                if isinstance(node, ast.Call)
            }
            impure = {"open", "print", "input", "date.today", "datetime.now", "datetime.today"}
            assert calls.isdisjoint(impure), name
