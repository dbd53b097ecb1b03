"""Rules of the house that no tool of the shelf checks: names, notes, sizes, the top of the tree.

What counts is what git knows or would take in; in a copy without git, the agreed folders as they
are.
"""

from __future__ import annotations

import ast
import re
import subprocess
from collections.abc import Iterator
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
STOPWATCHES = re.compile(r"\b(?:perf_counter|process_time|thread_time|timeit)(?:_ns)?\b")
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


def test_no_stray_notes_are_in_the_files() -> None:
    assert lines_with(STRAY_NOTES) == []


def test_no_path_of_a_single_machine_is_in_the_files() -> None:
    assert lines_with(MACHINE_PATHS) == []


def test_no_test_is_skipped_or_expected_to_fail() -> None:
    assert lines_with(NOT_RUN, ".py") == []


def test_no_test_takes_the_time() -> None:
    # On a machine that is slow or busy it would fail; times belong to tests/benchmarks.
    assert [
        line
        for line in lines_with(STOPWATCHES, ".py")
        if line.startswith("tests/") and not line.startswith("tests/benchmarks/")
    ] == []


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
def test_a_reason_is_distinguished_from_a_bare_code(line: str, has_reason: bool) -> None:
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


PURE_ROOMS = (
    "service/agronomy/",
    "service/waterworks/",
    "service/nutrition/",
    "service/geography/",
)


def test_the_rules_of_names_leave_nothing_of_agronomy_impure() -> None:
    # import-linter sees imports only; reading the clock or a file needs none of its banned ones.
    for name in own_files():
        if name.startswith(PURE_ROOMS) and name.endswith(".py"):
            calls = {
                ast.unparse(node.func)
                for node in ast.walk(ast.parse(text_of(name)))
                if isinstance(node, ast.Call)
            }
            impure = {"open", "print", "input", "date.today", "datetime.now", "datetime.today"}
            assert calls.isdisjoint(impure), name


# --- size ----------------------------------------------------------------------------------------

SIZED_ROOMS = ("service/", "migrations/")
CEILINGS = {"lines of a file": 400, "lines of a function": 60, "parameters": 7}

FREE_OF_COUNTING = {
    "service/agronomy/": "equations take their physical quantities one by one, by name",
    "service/waterworks/": "equations take their physical quantities one by one, by name",
    "service/nutrition/": "equations take their physical quantities one by one, by name",
    "service/cli/": "the parameters of a command are its options",
}
"""Rooms whose functions may have more parameters than others; in ``service/cli`` only the commands.

The most that ruff lets pass, ``max-args`` in ``pyproject.toml``, holds for them too.
"""
OPTION = re.compile(r"\btyper\.|^\w+(?:Option|Argument)$")
"""How the parameter of a command is annotated."""

# Reasons that several exceptions share.
METHOD = "the steps of one method, each with its source"
STEPS = "the steps of one operation in their order"
FACTS = "takes facts and parts of the service by name"
RELEASED = "a migration stays as it was released"
KEYS = "the keys of a section, one after the other"

EXCEPTIONS: dict[str, dict[str, tuple[int, str]]] = {
    "lines of a file": {
        "service/agronomy/units.py": (432, "one line for each name"),
        "service/agronomy/weather_day.py": (
            570,
            "each field of a day has checks and fillings of its own",
        ),
        "service/api/examples.py": (431, "one example for each answer"),
        "service/api/routes/waterworks.py": (470, "pipes, water and fertiliser in one router"),
        "service/api/schemas/waterworks.py": (661, "one schema for each question and answer"),
        "service/database/block_store.py": (620, "one store with all its statements"),
        "service/database/controller_store.py": (412, "one store with all its statements"),
        "service/database/mapping.py": (428, "one pair of functions for each record"),
        "service/farm_files/station_file.py": (761, "three layouts of files"),
        "service/pages/farm_forms.py": (466, "one table of fields for each form"),
        "service/pages/waterworks.py": (660, "one section of the page for each subject"),
        "service/pages/setup.py": (620, "one handler for each form"),
        "service/pages/visit.py": (461, "everything that a page asks of a visit"),
        "service/waterworks/acid.py": (485, METHOD),
        "service/waterworks/carbonate.py": (570, METHOD),
        "service/waterworks/fertiliser.py": (640, METHOD),
        "service/waterworks/lateral.py": (503, METHOD),
        "service/waterworks/water_analysis.py": (565, METHOD),
        "service/waterworks/water_report.py": (643, METHOD),
        "service/weather_sources/nws_grid.py": (432, "one service with all its rules"),
        "service/weather_sources/open_meteo.py": (451, "one service with all its rules"),
    },
    "lines of a function": {
        "service/agronomy/outlook.py::look_ahead": (78, METHOD),
        "service/agronomy/pulse_kernel.py::plan_alone": (86, METHOD),
        "service/agronomy/season.py::run_season": (73, METHOD),
        "service/agronomy/site_weather.py::site_weather": (63, METHOD),
        "service/agronomy/supply.py::schedule_supplies": (70, METHOD),
        "service/agronomy/list_schedule_kernel.py::run_list": (62, METHOD),
        "service/agronomy/supply_kernel.py::plan_day": (90, METHOD),
        "service/agronomy/weather_day.py::find_unit_mistakes": (62, METHOD),
        "service/agronomy/weather_day.py::check_weather": (79, METHOD),
        "service/cli/weather.py::station_import": (76, "one parameter a line, with its help"),
        "service/cli/fertiliser.py::fertigate": (76, "one parameter a line, with its help"),
        "service/cli/water.py::acid": (83, "one parameter a line, with its help"),
        "service/database/plan_store.py::PlanStore.publish": (
            82,
            "one statement after another, in the order of the transaction",
        ),
        "service/operations/evening/publish_programs.py::_rows": (78, STEPS),
        "service/waterworks/acid.py::acid_dose": (82, METHOD),
        "service/waterworks/carbonate.py::speciate": (76, METHOD),
        "service/waterworks/fertiliser.py::inject": (64, METHOD),
        "migrations/versions/2026-11-25-0800_create_tables.py::upgrade": (330, RELEASED),
        "migrations/versions/2026-11-25-1015_add_controllers.py::upgrade": (80, RELEASED),
        "migrations/versions/2026-11-25-1030_add_keys.py::upgrade": (79, RELEASED),
        "migrations/versions/2026-11-25-1100_add_mail.py::upgrade": (76, RELEASED),
    },
    "parameters": {
        "service/drawing/course.py::over_runs": (10, "a chart takes its lines one by one, by name"),
        "service/operations/evening/run_day.py::run_day": (10, FACTS),
        "service/operations/feedback/read_soil.py::read_soil": (10, FACTS),
        "service/pages/setup.py::_retire": (9, "takes what a visit brings, by name"),
    },
}
"""What may be larger than the ceiling, by how much, and why.

A number here is the most that the thing may grow to, and what has come under the general ceiling
leaves the table. The messages of the two tests below list every offender with its number, and every
exception that is not needed any more.
"""


def parameter_count(function: ast.FunctionDef | ast.AsyncFunctionDef, *, is_method: bool) -> int:
    """Every parameter, also those given by name, but for the object or class itself."""
    own = function.args
    names = [each.arg for each in (*own.posonlyargs, *own.args, *own.kwonlyargs)]
    names += [each.arg for each in (own.vararg, own.kwarg) if each is not None]
    return len(names) - (is_method and names[:1] in (["self"], ["cls"]))


def functions_in(
    node: ast.AST, above: tuple[str, ...] = ()
) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef, bool]]:
    """Each function, also within others: its qualified name, itself, whether it is a method."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            path = (*above, child.name)
            if not isinstance(child, ast.ClassDef):
                yield ".".join(path), child, isinstance(node, ast.ClassDef)
            yield from functions_in(child, path)
        else:
            yield from functions_in(child, above)


def is_free_of_counting(name: str, function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Whether a room's habit allows any number of parameters."""
    if not name.startswith(tuple(FREE_OF_COUNTING)):
        return False
    own = function.args
    parameters = (*own.posonlyargs, *own.args, *own.kwonlyargs)
    return not name.startswith("service/cli/") or all(
        each.annotation is not None and OPTION.search(ast.unparse(each.annotation))
        for each in parameters
    )


def sizes_of(name: str, source: str) -> Iterator[tuple[str, str, int]]:
    """What is measured of a module: the rule, ``path`` or ``path::qualname``, and the number."""
    yield "lines of a file", name, len(source.splitlines())
    for qualname, function, is_method in functions_in(ast.parse(source)):
        assert function.end_lineno is not None
        key = f"{name}::{qualname}"
        yield "lines of a function", key, function.end_lineno - function.lineno + 1
        if not is_free_of_counting(name, function):
            yield "parameters", key, parameter_count(function, is_method=is_method)


@cache
def over_the_ceilings() -> dict[tuple[str, str], int]:
    """Everything in the sized rooms that is larger than the general ceilings."""
    return {
        (rule, key): number
        for name in own_files()
        if name.startswith(SIZED_ROOMS) and name.endswith(".py")
        for rule, key, number in sizes_of(name, text_of(name))
        if number > CEILINGS[rule]
    }


def test_nothing_is_larger_than_it_may_be() -> None:
    allowed = {
        (rule, key): most for rule in EXCEPTIONS for key, (most, _) in EXCEPTIONS[rule].items()
    }
    too_large = [
        f"{rule}: {key}: {number}, allowed {allowed.get((rule, key), CEILINGS[rule])}"
        for (rule, key), number in over_the_ceilings().items()
        if number > allowed.get((rule, key), CEILINGS[rule])
    ]
    assert not too_large, "\n".join(too_large)


def test_no_exception_is_kept_that_is_not_needed() -> None:
    needless = [
        f"{rule}: {key}"
        for rule, exceptions in EXCEPTIONS.items()
        for key in exceptions
        if (rule, key) not in over_the_ceilings()
    ]
    assert not needless, "take out of EXCEPTIONS:\n" + "\n".join(needless)


def test_every_exception_gives_its_reason() -> None:
    assert set(EXCEPTIONS) == set(CEILINGS)
    bare = [key for each in EXCEPTIONS.values() for key, (_, reason) in each.items() if not reason]
    assert bare == []


def test_sizes_are_measured_with_inner_functions_and_parameters_by_name() -> None:
    source = """
class Store:
    def save(self, row, *rows, at, by=None, **more):
        def inner(self): ...
        return inner
async def load(first, /, second): ...
"""
    assert list(sizes_of("service/invented.py", source)) == [
        ("lines of a file", "service/invented.py", 6),
        ("lines of a function", "service/invented.py::Store.save", 3),
        ("parameters", "service/invented.py::Store.save", 5),
        ("lines of a function", "service/invented.py::Store.save.inner", 1),
        ("parameters", "service/invented.py::Store.save.inner", 1),
        ("lines of a function", "service/invented.py::load", 1),
        ("parameters", "service/invented.py::load", 2),
    ]


def test_commands_and_equations_alone_may_take_any_number_of_parameters() -> None:
    source = """
def command(speed: Annotated[str, typer.Option()]): ...
def inside(speed: str): ...
"""
    counted = {
        room: [key for rule, key, _ in sizes_of(f"{room}x.py", source) if rule == "parameters"]
        for room in ("service/cli/", "service/agronomy/", "service/pages/")
    }
    assert counted == {
        "service/cli/": ["service/cli/x.py::inside"],
        "service/agronomy/": [],
        "service/pages/": ["service/pages/x.py::command", "service/pages/x.py::inside"],
    }


# --- operations and their tests ------------------------------------------------------------------

NO_TEST_OF_ITS_OWN = {
    "season/documents": "plain values; the tests of the command and the route read them",
    "nutrition/documents": "plain values; the tests of commands and routes read them",
    "evening/measured_weather": "read by what looks back; tested with assess_supply, compare_block",
    "evening/phases": "adds up seconds for the log lines of a run, which tests/test_logs.py reads",
    "evening/risk_rows": "plain values of a plan; the tests of weigh_risk read them",
    "evening/run_timers": "what an evening does for timers; tests/operations/timers follow it",
    "evening/run_weather": "hands run_day what gather_weather gathers; tested with both",
    "evening/write_plans": "the last step of run_day, whose tests read what it stores",
    "exports/columns": "units and notes of every table; the tests of each table read them",
    "schedule/do_jobs": "what run_due does; its tests claim and run each of the jobs",
    "schedule/duties": "two records",
    "waterworks/past_summers": "a part of assess_capacity, whose tests run each summer",
    "waterworks/peak_needs": "a part of assess_capacity; tests/validation/test_capacity.py has it",
}
"""Operation modules, by subject and name, with the reason why no file of tests bears their name."""
SCENARIOS: dict[str, str] = {
    "evening/first_evening": "inputs, ledgers and reported runs of a season under way"
}
"""Files of tests in tests/operations that follow several operations at once, with the reason."""


def modules_below(folder: str, prefix: str = "") -> set[str]:
    """Subject and name of the Python files two levels below a folder, without their prefix."""
    found = set()
    for name in own_files():
        path = Path(name)
        is_module = path.suffix == ".py" and path.parent.parent == Path(folder)
        if is_module and path.name != "__init__.py" and path.name.startswith(prefix):
            found.add(f"{path.parent.name}/{path.stem.removeprefix(prefix)}")
    return found


def test_every_operation_has_its_tests_and_every_test_file_its_operation() -> None:
    operations = modules_below("service/operations")
    tested = modules_below("tests/operations", "test_")
    assert "evening/run_day" in operations  # or the rule would hold for nothing
    assert operations - tested == set(NO_TEST_OF_ITS_OWN)
    assert tested - operations == set(SCENARIOS)
