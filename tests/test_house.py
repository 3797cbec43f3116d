"""The house rules, each run as a test: style, types, floors, light imports."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from itertools import chain
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).resolve().parent.parent
TOOLS = Path(sys.executable).parent


def run(*command: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1"}
    return subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    "command",
    [
        ("ruff", "check", "."),
        ("ruff", "format", "--check", "."),
        ("mypy",),
        ("lint-imports",),
    ],
    ids=["lint", "format", "types", "floors"],
)
def test_tool_is_content(command: tuple[str, ...]) -> None:
    done = run(str(TOOLS / command[0]), *command[1:])
    assert done.returncode == 0, done.stdout + done.stderr


def test_no_module_imports_the_package_root() -> None:
    graph = grimp.build_graph("beltpitch")
    assert graph.find_modules_that_directly_import("beltpitch") == set()


HEAVY = [
    "numpy", "pint", "scipy.signal", "scipy.optimize", "scipy.special", "scipy.linalg",
    "sounddevice", "soundfile", "librosa", "matplotlib", "av", "sqlite3", "sklearn",
]  # fmt: skip


def loaded_by(code: str) -> set[str]:
    done = run(sys.executable, "-c", f"{code}\nimport sys\nprint(*sys.modules)")
    assert done.returncode == 0, done.stderr
    return {name for name in done.stdout.split() if name in HEAVY}


def test_help_loads_nothing_heavy() -> None:
    assert loaded_by("import beltpitch.terminal.main") == set()


def test_typed_tension_loads_no_more_than_numpy_pint_and_the_database() -> None:
    code = (
        "from beltpitch.terminal.main import app\n"
        "app(['tension', '--frequency', '66.3 Hz', '--belt', '2GT 9 mm', '--span', '412 mm',"
        "'--json'], standalone_mode=False)"
    )
    assert loaded_by(code) <= {"numpy", "pint", "sqlite3"}  # the last one costs 6 ms


def test_the_top_level_holds_only_what_belongs_there() -> None:
    tracked = run("git", "ls-files").stdout.split("\n")
    top = {name.split("/")[0] for name in tracked if name}
    own = {name for name in top if not name.startswith(".")}
    assert own <= {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "LICENSE",
        "beltpitch",
        "tests",
        "calibration",
        "docs",
    }


def test_every_dependency_is_explained_to_developers() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = project["dependencies"] + [*chain(*project["optional-dependencies"].values())]
    names = {re.split(r"[\[<>=!~]", line)[0] for line in wanted}
    text = (ROOT / "DEVELOPERS.md").read_text()
    assert {name for name in names if f"`{name}`" not in text} == set()


def test_constraints_name_a_version_for_every_dependency() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["test"]
    names = {re.split(r"[\[<>=!~]", line)[0].lower() for line in wanted}
    lines = (ROOT / ".ci" / "constraints.txt").read_text().splitlines()
    pinned = {line.split("==")[0].lower() for line in lines if "==" in line}
    assert names <= pinned
