"""How much there is to hold in the head: counts of the package, printed as a table.

    .venv/bin/python calibration/size.py            # counts
    .venv/bin/python calibration/size.py --names    # and what stands behind them

Conventions: lines are physical lines; the length of a function leaves out its docstring; an import
inside a function counts once for each statement; imports for type checkers do not count.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import importlib
import io
import sys
import tempfile
import tomllib
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "beltpitch"
sys.path.insert(0, str(ROOT))  # measure this tree, wherever it is run from

LONGEST_FUNCTION = 60  # lines
COMMAND_ROOMS = ("cli", "terminal")  # a command's file may bear the name of what it shows

Function = ast.FunctionDef | ast.AsyncFunctionDef


def modules() -> dict[str, ast.Module]:
    """Return the syntax tree of every module by its path inside the package."""
    return {
        path.relative_to(PACKAGE).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
        for path in sorted(PACKAGE.rglob("*.py"))
    }


def lines() -> int:
    """Return the lines of all modules."""
    return sum(len(p.read_text(encoding="utf-8").splitlines()) for p in PACKAGE.rglob("*.py"))


def code_lines() -> int:
    """Return the lines without blank ones, comments and docstrings."""
    total = 0
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        prose = {
            n
            for node in ast.walk(ast.parse(text))
            if isinstance(node, ast.Module | ast.ClassDef | Function) and ast.get_docstring(node)
            for n in range(node.body[0].lineno, (node.body[0].end_lineno or 0) + 1)
        }
        total += sum(
            bool(line.strip()) and not line.strip().startswith("#") and n not in prose
            for n, line in enumerate(text.splitlines(), 1)
        )
    return total


def _functions(tree: ast.AST) -> Iterator[Function]:
    yield from (node for node in ast.walk(tree) if isinstance(node, Function))


def _length(function: Function) -> int:
    first = function.body[0]
    start = first.end_lineno if ast.get_docstring(function) else first.lineno - 1
    return (function.end_lineno or 0) - (start or 0)


def long_functions(trees: dict[str, ast.Module]) -> list[str]:
    """Return the functions above the limit, with their lengths."""
    return [
        f"{name}:{f.lineno} {f.name} {_length(f)}"
        for name, tree in trees.items()
        for f in _functions(tree)
        if _length(f) > LONGEST_FUNCTION
    ]


def inner_imports(trees: dict[str, ast.Module]) -> list[str]:
    """Return the import statements inside functions."""
    return [
        f"{name}:{line}"
        for name, tree in trees.items()
        for line in sorted(
            {
                node.lineno
                for f in _functions(tree)
                for node in ast.walk(f)
                if isinstance(node, ast.Import | ast.ImportFrom)
            }
        )
    ]


def twin_classes(trees: dict[str, ast.Module]) -> list[str]:
    """Return the public class names that two modules define."""
    places = defaultdict(list)
    for name, tree in trees.items():
        for node in tree.body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places[node.name].append(name)
    return [f"{name}: {', '.join(at)}" for name, at in sorted(places.items()) if len(at) > 1]


def twin_files(trees: dict[str, ast.Module]) -> list[str]:
    """Return the file names used twice, commands excepted."""
    places = defaultdict(list)
    for name in trees:
        if Path(name).name != "__init__.py" and not name.startswith(COMMAND_ROOMS):
            places[Path(name).name].append(name)
    return [f"{name}: {', '.join(at)}" for name, at in sorted(places.items()) if len(at) > 1]


def _entry() -> Callable[[], object]:
    """Return the function that the command `beltpitch` calls."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    module, name = project["project"]["scripts"]["beltpitch"].split(":")
    return getattr(importlib.import_module(module), name)  # type: ignore[no-any-return]


def _command(*words: str) -> None:
    """Run a command in this process, its output thrown away."""
    before, sys.argv = sys.argv, ["beltpitch", *words]
    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
            _entry()()
    finally:
        sys.argv = before


def crossed() -> tuple[list[str], list[str]]:
    """Return the modules and the kinds of record that a recording passes on its way.

    A module counts where one of its functions runs, a record where one is made, while
    ``beltpitch recording y.wav --belt .. --span ..`` runs; bodies of modules do not count.
    """
    passed: set[str] = set()
    made: set[str] = set()

    def watch(frame: FrameType, event: str, _: object) -> None:
        if event != "call":
            return
        module = frame.f_globals.get("__name__", "")
        if not module.startswith("beltpitch") or frame.f_code.co_name == "<module>":
            return
        if frame.f_code.co_filename == "<string>":  # what dataclasses writes
            if frame.f_code.co_name == "__init__":
                made.add(type(frame.f_locals["self"]).__name__)
        else:
            passed.add(module)

    with tempfile.TemporaryDirectory() as folder:
        _command("demo", "--into", folder)
        (sound,) = Path(folder).glob("y-left.wav")
        words = ("recording", str(sound), "--belt", "2GT 9 mm", "--span", "286 mm")
        sys.setprofile(watch)
        try:
            _command(*words)
        finally:
            sys.setprofile(None)
    return sorted(passed), sorted(made)


def main() -> None:
    """Print the counts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--names", action="store_true", help="what stands behind the counts")
    given = parser.parse_args()
    trees = modules()
    passed, records = crossed()
    rows = {
        "modules": list(trees),
        "functions above 60 lines": long_functions(trees),
        "imports inside functions": inner_imports(trees),
        "public class names with two meanings": twin_classes(trees),
        "file names used twice": twin_files(trees),
        "modules crossed by a recording": passed,
        "kinds of record made on the way": records,
    }
    print(f"lines | {lines()}")
    print(f"lines of code | {code_lines()}")
    for name, what in rows.items():
        print(f"{name} | {len(what)}")
        if given.names:
            print(*(f"    {one}" for one in what), sep="\n")


if __name__ == "__main__":
    main()
