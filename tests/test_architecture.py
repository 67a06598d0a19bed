"""Imports between the rooms only point down, and drawing and search libraries stay out of module level."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[1]
ROOMS = ("lamp_library", "models", "optimiser")  # bottom to top
LAZY_ONLY = {"matplotlib", "optuna"}
MODULES = [path for room in ROOMS for path in sorted((REPOSITORY / room).rglob("*.py"))]
IDS = [path.relative_to(REPOSITORY).as_posix() for path in MODULES]


def imported_names(tree: ast.AST, package: list[str]) -> Iterator[str]:
    """Absolute dotted name of everything a module imports, functions included."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            yield module
            yield from (f"{module}.{alias.name}" for alias in node.names)


def run_on_import(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    """Statements that run when the module is imported: everything outside functions and type-checking blocks."""
    for statement in body:
        if isinstance(statement, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        if isinstance(statement, ast.If) and "TYPE_CHECKING" in ast.unparse(statement.test):
            yield from run_on_import(statement.orelse)
            continue
        yield statement
        for inner in ("body", "orelse", "finalbody", "handlers"):
            blocks = getattr(statement, inner, [])
            for block in blocks:
                yield from run_on_import(block.body if isinstance(block, ast.ExceptHandler) else [block])


def package_of(path: Path) -> list[str]:
    return ["gelwright", *path.relative_to(REPOSITORY).parent.parts]


def upward_imports(source: str, package: list[str]) -> list[str]:
    """Imports of `source` that name a room above its own, or a room by its bare name."""
    height = ROOMS.index(package[1])
    above = tuple(f"gelwright.{room}" for room in ROOMS[height + 1 :])
    names = imported_names(ast.parse(source), package)
    return [n for n in names if n.split(".")[0] in ROOMS or any(f"{n}.".startswith(f"{a}.") for a in above)]


def module_level_lazy_imports(source: str, package: list[str]) -> list[str]:
    """Module-level imports of libraries that must only be imported inside functions."""
    statements = [
        s for s in run_on_import(ast.parse(source).body) if isinstance(s, ast.Import | ast.ImportFrom)
    ]
    names = imported_names(ast.Module(body=list(statements), type_ignores=[]), package)
    return [name for name in names if name.split(".")[0] in LAZY_ONLY]


def test_rooms_hold_modules() -> None:
    assert {path.relative_to(REPOSITORY).parts[0] for path in MODULES} == set(ROOMS)


@pytest.mark.parametrize("path", MODULES, ids=IDS)
def test_imports_point_down(path: Path) -> None:
    assert upward_imports(path.read_text(encoding="utf-8"), package_of(path)) == []


@pytest.mark.parametrize("path", MODULES, ids=IDS)
def test_drawing_and_search_libraries_stay_inside_functions(path: Path) -> None:
    assert module_level_lazy_imports(path.read_text(encoding="utf-8"), package_of(path)) == []


@pytest.mark.parametrize(
    "line",
    [
        "from ..optimiser import brief",
        "from .. import optimiser",
        "import gelwright.optimiser.cli",
        "import models.heat",
    ],
)
def test_the_check_sees_an_import_that_points_up(line: str) -> None:
    assert upward_imports(f"def late():\n    {line}\n", ["gelwright", "models"])


def test_the_check_lets_an_import_point_down() -> None:
    assert upward_imports("from ..lamp_library.units import m_from_um\n", ["gelwright", "models"]) == []


@pytest.mark.parametrize(
    "source",
    [
        "import matplotlib.pyplot as plt",
        "try:\n    import optuna\nexcept ImportError:\n    pass",
        "class A:\n    import optuna",
        "with x:\n    from matplotlib import pyplot",
    ],
)
def test_the_check_sees_a_lazy_library_at_module_level(source: str) -> None:
    assert module_level_lazy_imports(source, ["gelwright", "optimiser"])


def test_the_check_lets_a_function_import_a_lazy_library() -> None:
    source = "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import optuna\ndef f():\n    import matplotlib"
    assert module_level_lazy_imports(source, ["gelwright", "optimiser"]) == []


def test_only_the_records_import_optuna() -> None:
    importers = {
        path.name
        for path in MODULES
        if any(
            name.split(".")[0] == "optuna"
            for name in imported_names(ast.parse(path.read_text(encoding="utf-8")), package_of(path))
        )
    }
    assert importers == {"record.py", "record_shared.py"}
