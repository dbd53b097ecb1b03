"""What the pure rooms say about themselves: inputs, outputs and sources of every step.

Required in agronomy, waterworks, nutrition and geography: a module names its input and output; a
public function says ``Shapes:`` and ``Returns:``, and ``Equation:`` or ``Source:`` if it multiplies
or divides. The compiled kernels have one caller each, whose docstrings state the rules; methods and
properties are explained by their record.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("service/agronomy", "service/waterworks", "service/nutrition", "service/geography")
LABELS = ("Shapes:", "Returns:")
ORIGIN = "Equation: or Source:"
HOLDS_NO_STEP = ("__init__.py", "records.py", "caution.py")  # names, arrays and texts


def modules() -> dict[str, ast.Module]:
    """Every module of the rooms by its path from the root."""
    return {
        path.relative_to(ROOT).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
        for room in ROOMS
        for path in sorted((ROOT / room).rglob("*.py"))
    }


def missing_ways(name: str, docstring: str | None) -> list[str]:
    """What a module's docstring does not say: that it is there, what goes in, what comes out."""
    if not docstring:
        return ["a docstring"]
    if name in HOLDS_NO_STEP:
        return []
    ways = {"what goes in": r"\bIn(:| goe?s?\b)", "what comes out": r"\b[Oo]ut(:| comes?\b)"}
    return [way for way, pattern in ways.items() if not re.search(pattern, docstring)]


def missing_labels(docstring: str, *, computes: bool) -> list[str]:
    lines = [line.strip() for line in docstring.splitlines()]
    return [
        label
        for label in (*LABELS, ORIGIN)[: len(LABELS) + computes]
        if not any(line.startswith(tuple(label.split(" or "))) for line in lines)
    ]


def computes(function: ast.FunctionDef) -> bool:
    """Whether the function's own lines multiply, divide or raise to a power."""
    return any(
        isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mult | ast.Div | ast.Pow)
        for node in ast.walk(function)
    )


def public_functions(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node


def test_every_module_of_a_pure_room_says_what_it_is() -> None:
    faults = [
        f"{name}: {', '.join(missing)}"
        for name, tree in modules().items()
        if (missing := missing_ways(Path(name).name, ast.get_docstring(tree)))
    ]
    assert not faults, "missing:\n" + "\n".join(faults)


def test_public_functions_of_a_pure_room_say_shapes_returns_and_source() -> None:
    faults = [
        f"{name}:{function.lineno} {function.name}: {', '.join(missing)}"
        for name, tree in modules().items()
        if not name.endswith("_kernel.py")
        for function in public_functions(tree)
        if (
            missing := missing_labels(
                ast.get_docstring(function) or "", computes=computes(function)
            )
        )
    ]
    assert not faults, "missing:\n" + "\n".join(faults)


def test_the_scan_sees_every_room() -> None:
    assert all(any(name.startswith(f"{room}/") for name in modules()) for room in ROOMS)


def test_the_reading_guide_of_agronomy_names_every_module() -> None:
    room = ROOT / "service/agronomy"
    guide = ast.get_docstring(ast.parse((room / "__init__.py").read_text("utf-8"))) or ""
    named = re.findall(r"^ *([a-z0-9_]+) {2,}\S", guide, flags=re.MULTILINE)
    assert sorted(named) == sorted({path.stem for path in room.glob("*.py")} - {"__init__"})


def test_a_module_that_does_not_say_what_it_is_is_noticed() -> None:
    assert missing_ways("soil.py", None) == ["a docstring"]
    assert missing_ways("soil.py", "Soil.") == ["what goes in", "what comes out"]
    assert missing_ways("soil.py", "Soil.\n\nIn: texture. Out: water.") == []
    assert missing_ways("records.py", "Arrays by name.") == []


def test_a_docstring_without_its_labels_is_noticed() -> None:
    assert missing_labels("Depth of water.", computes=True) == [*LABELS, ORIGIN]
    assert missing_labels("Depth of water.", computes=False) == list(LABELS)
    sourced = "Depth.\n\nShapes: any.\nReturns: mm.\nSource: FAO-56 Eq. 82."
    assert missing_labels(sourced, computes=True) == []
    assert missing_labels("Depth.\n\nShapes: any.\nEquation: p TAW.", computes=True) == ["Returns:"]


def test_only_a_function_that_computes_needs_an_equation_or_a_source() -> None:
    product, choice = ast.parse("def a(x): return 60.0 * x\ndef b(x): return x or None").body
    assert isinstance(product, ast.FunctionDef) and computes(product)
    assert isinstance(choice, ast.FunctionDef) and not computes(choice)
