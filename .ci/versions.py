"""Run the core tests with the oldest and the newest versions that pyproject.toml allows.

``python3 .ci/versions.py [3.12 ...]``: for each Python that is found here, both sets of versions
are installed into a throw-away environment, beltpitch with them, and the core tests run there. A
Python that is not here is named and left out. Standard library only; uv, which knows how to choose
the oldest versions, is installed into the same temporary folder, and goes with it.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from tests.run import make_venv, python_of, say  # noqa: E402

PYTHONS = ("3.11", "3.12", "3.13")
VERSIONS = {"oldest": "lowest-direct", "newest": "highest"}  # as uv says it
TOOLS = ("pytest", "pytest-xdist", "hypothesis")  # of the test extra: what the core tests need
# Each dependency is used by one of these, but none needs a browser or a sound server, and trials by
# the thousand are left out: they ask the code, not the versions.
CORE = (
    "tests/test_units.py",
    "tests/test_parsing.py",
    "tests/test_reading.py",
    "tests/test_recorded.py",
    "tests/test_verdict.py",
    "tests/belts/test_catalogue.py",
    "tests/belts/test_mechanics.py",
    "tests/audio",
    "tests/pitch",
    "tests/advice/test_trials_judged.py",
    "tests/store/test_toml_positions.py",
    "tests/store/test_plots.py",
    "tests/store/test_csv_log.py",
    "tests/terminal/test_commands.py",
    "tests/terminal/test_live_screen.py",
    "tests/terminal/test_machine.py",
    "tests/terminal/test_pair_command.py",
    "tests/terminal/test_report.py",
    "tests/web/test_page_doors.py",
    "tests/web/test_page_uploads.py",
)
BINARY = ["--only-binary", ":all:"]  # a version that must be compiled is no version to most people


def main() -> int:
    """Run all, return 0 if nothing failed."""
    failed: list[str] = []
    with tempfile.TemporaryDirectory(prefix="beltpitch-versions-") as name:
        temporary = Path(name)
        env = environment(temporary)
        uv = install_uv(temporary, env)
        for wanted in sys.argv[1:] or PYTHONS:
            python = interpreter(wanted)
            if python is None:
                say(f"versions: Python {wanted} is not here, left out")
                continue
            for title, resolution in VERSIONS.items():
                which = f"Python {wanted}, {title} versions"
                if not passes(which, resolution, [uv, python], temporary / "env", env):
                    failed.append(which)
    for which in failed:
        say(f"versions: FAILED with {which}")
    return 1 if failed else 0


def environment(temporary: Path) -> dict[str, str]:
    """Return the variables for the children: what they write goes to the temporary folder."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    return {
        **kept,
        "PYTHONPYCACHEPREFIX": str(temporary / "compiled"),
        "UV_CACHE_DIR": str(temporary / "cache"),
        "UV_PYTHON_DOWNLOADS": "never",
        "UV_NO_CONFIG": "1",
    }


def install_uv(temporary: Path, env: dict[str, str]) -> str:
    """Install uv into an environment of its own, return where it is."""
    python = make_venv(temporary / "uv")
    constraints = str(ROOT / ".ci" / "constraints.txt")
    pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    subprocess.run([*pip, "--constraint", constraints, "uv"], env=env, check=True)
    return str(python.with_name("uv"))


def interpreter(wanted: str) -> str | None:
    """Return a Python of that version, from PATH or among pyenv's; None if there is none."""
    code = "import sys; print('%d.%d' % sys.version_info[:2])"
    for candidate in candidates(wanted):
        # A name on PATH may be a stand-in for a version that is not there.
        found = subprocess.run([candidate, "-c", code], capture_output=True, text=True, check=False)
        if found.returncode == 0 and found.stdout.strip() == wanted:
            return candidate
    return None


def candidates(wanted: str) -> Iterator[str]:
    """Yield where a Python of that version may be."""
    on_path = shutil.which(f"python{wanted}")
    if on_path is not None:
        yield on_path
    yield from map(str, sorted(Path.home().glob(f".pyenv/versions/{wanted}.*/bin/python")))


def passes(
    which: str, resolution: str, uv_and_python: list[str], folder: Path, env: dict[str, str]
) -> bool:
    """Install one set of versions, run the core tests with it, say how it went."""
    uv, base = uv_and_python
    say(f"versions: {which}")
    start = time.monotonic()
    into = [uv, "pip", "install", "--quiet", "--python", str(python_of(folder))]
    wanted = [*BINARY, "--resolution", resolution, "-r", "pyproject.toml", *tools()]
    for command in (
        [uv, "venv", "--quiet", "--clear", "--python", base, str(folder)],
        [*into, *wanted],
        [*into, "--no-deps", str(ROOT)],
    ):
        if subprocess.run(command, cwd=ROOT, env=env, check=False).returncode:
            return False
    say(f"versions: {installed_versions(uv, folder, env)}")
    installed = time.monotonic()
    tests = ["-m", "pytest", "-q", "-n", "2", "-p", "no:cacheprovider", *CORE]
    done = subprocess.run([str(python_of(folder)), *tests], cwd=ROOT, env=env, check=False)
    ended = time.monotonic()
    say(
        f"versions: {which}: installed in {installed - start:.0f} s, tested in "
        f"{ended - installed:.0f} s"
    )
    return done.returncode == 0


def installed_versions(uv: str, folder: Path, env: dict[str, str]) -> str:
    """Return what was installed of that which pyproject.toml names, in one line."""
    freeze = [uv, "pip", "freeze", "--quiet", "--python", str(python_of(folder))]
    done = subprocess.run(freeze, env=env, stdout=subprocess.PIPE, text=True, check=True)
    named = {name_of(line).lower() for line in [*project()["dependencies"], *tools()]}
    return ", ".join(line for line in done.stdout.split() if name_of(line).lower() in named)


def tools() -> list[str]:
    """Return what the core tests need beside beltpitch, with the versions of the test extra."""
    return [line for line in project()["optional-dependencies"]["test"] if name_of(line) in TOOLS]


def project() -> dict[str, Any]:
    """Return what pyproject.toml says of the project."""
    table: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    return table


def name_of(requirement: str) -> str:
    """Return the name of a package from a line that may hold its versions."""
    return re.split(r"[\[<>=!~]", requirement)[0]


if __name__ == "__main__":
    sys.exit(main())
