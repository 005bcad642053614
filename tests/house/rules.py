"""The rules of the house, as functions over a source tree: floors, doors, sizes. The tests run them on the project and
on small planted trees, so that each rule is seen to fail."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

FLOORS: dict[str, int] = {
    "errors": -1,  # the family of errors lies under everything that raises one
    "settings": 0, "results": 0, "assets": 0,
    "contract": 1, "identity": 1, "reference": 1, "stats": 1,
    "ingest": 2, "store": 2, "engines": 2,
    "validate": 3, "derive": 3, "analyse": 3, "simulate": 3,
    "report": 4, "stages": 5, "cli": 6, "__main__": 7,
}

#: library -> the places (prefixes of paths below pipeline/) that may import it.
DOORS: dict[str, tuple[str, ...]] = {
    "duckdb": ("store", "derive", "engines"),
    "pandera": ("contract", "validate"),
    "formulaic": ("stats/formula.py",),
    "statsmodels": ("analyse/cross_check.py",),
    "pandas": ("analyse/cross_check.py",),
    "scipy": ("stats", "analyse", "simulate", "identity"),
    "fastexcel": ("ingest",),
    "xlsxwriter": ("ingest",),
    "great_tables": ("report/tables.py",),
    "altair": ("report/charts.py",),
    "vl_convert": ("report/charts.py",),
    "jinja2": ("report/render.py",),
    "click": ("cli.py", "cli_"),
    "rich": ("cli.py", "cli_"),
    "sqlglot": ("engines",),
    "pyspark": ("engines/spark_connect.py",),
    "grpc": ("engines/spark_connect.py",),
}

OPENERS = {"open", "read_text", "write_text", "read_bytes", "write_bytes"}
MAY_OPEN = ("ingest", "settings.py", "assets.py", "store", "engines", "report/render.py", "simulate/write.py", "stages")
CLOCKS = {("time", "time"), ("datetime", "now"), ("datetime", "today"), ("date", "today"), ("datetime", "utcnow")}


def room(path: Path, root: Path) -> str:
    """Name the room of a file: the first part of its path below the package."""
    first = path.relative_to(root).parts[0].removesuffix(".py")
    return next((r for r in FLOORS if first == r or first.startswith(r + "_")), first)


def imports(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Yield (line, dotted name) of every import in a file, those inside functions included."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            if node.module == "pipeline":
                yield from ((node.lineno, f"pipeline.{alias.name}") for alias in node.names)
            else:
                yield node.lineno, node.module


def sources(root: Path) -> Iterator[tuple[Path, ast.Module]]:
    for path in sorted(root.rglob("*.py")):
        yield path, ast.parse(path.read_text(encoding="utf-8"))


def upward_imports(root: Path) -> list[str]:
    """Say in a sentence each import from a floor that is not lower, between two rooms."""
    said = []
    for path, tree in sources(root):
        here = room(path, root)
        if here == "__init__":
            continue
        for line, name in imports(tree):
            parts = name.split(".")
            if parts[0] != "pipeline" or len(parts) < 2:
                continue
            there = room(root / f"{parts[1]}.py", root)
            if there == here or there.startswith("__version"):
                continue
            if strangers := [r for r in (here, there) if r not in FLOORS]:
                said.append(f"{path.relative_to(root)}:{line}: '{strangers[0]}' has no floor.")
            elif FLOORS[there] >= FLOORS[here]:
                said.append(f"{path.relative_to(root)}:{line}: {here} (floor {FLOORS[here]}) imports {there} (floor "
                            f"{FLOORS[there]}); a room imports only from lower floors.")
    return said


def second_doors(root: Path) -> list[str]:
    """Say in a sentence each import of a library outside its door."""
    said = []
    for path, tree in sources(root):
        place = path.relative_to(root).as_posix()
        for line, name in imports(tree):
            doors = DOORS.get(name.split(".")[0])
            if doors is not None and not place.startswith(doors):
                said.append(f"{place}:{line}: {name.split('.')[0]} comes in by another door; it belongs to "
                            f"{' and '.join(doors)}.")
    return said


def forbidden_calls(root: Path) -> list[str]:
    """Say each print outside cli, each opened file outside the rooms that may, each clock below stages."""
    said = []
    for path, tree in sources(root):
        place = path.relative_to(root).as_posix()
        floor = FLOORS.get(room(path, root), 0)
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            f = node.func
            name = f.id if isinstance(f, ast.Name) else f.attr if isinstance(f, ast.Attribute) else ""
            if name == "print" and not place.startswith("cli"):
                said.append(f"{place}:{node.lineno}: prints; only cli prints.")
            if name in OPENERS and not place.startswith((*MAY_OPEN, "cli")):
                said.append(f"{place}:{node.lineno}: opens a file; that belongs to {', '.join(MAY_OPEN)}.")
            owner = f.value if isinstance(f, ast.Attribute) else None
            last = owner.id if isinstance(owner, ast.Name) else owner.attr if isinstance(owner, ast.Attribute) else ""
            if (last, name) in CLOCKS and floor < FLOORS["stages"]:
                said.append(f"{place}:{node.lineno}: reads the clock; only stages may.")
    return said


def too_long(root: Path, *, file_lines: int = 300, function_lines: int = 60) -> list[str]:
    """Say each file and function over its budget."""
    said = []
    for path, tree in sources(root):
        place = path.relative_to(root).as_posix()
        length = len(path.read_text(encoding="utf-8").splitlines())
        if length > file_lines:
            said.append(f"{place}: {length} lines, over the budget of {file_lines}.")
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef):
                size = (node.end_lineno or node.lineno) - node.lineno + 1
                if size > function_lines:
                    said.append(f"{place}: {node.name} has {size} lines, over the budget of {function_lines}.")
    return said
