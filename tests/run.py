"""Set up what the tests need and run them: ``python3 tests/run.py [pytest options]``.

Uses the standard library only, so that it starts on a bare machine. It makes ``.venv``, installs
beltpitch with its test extra at the versions of ``.ci/constraints.txt``, and, where apt may be
used, the system packages that the sound tests need. Where it may not, it says what is missing and
leaves those tests out; in CI (``CI=true``) nothing is left out and a missing package is a failure.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ENV = ROOT / ".venv"
# command that proves the package is there -> Debian's name of the package
SYSTEM = {
    "pulseaudio": "pulseaudio",
    "paplay": "pulseaudio-utils",
    "tmux": "tmux",
    "chromium": "chromium",
}
LIBRARIES = ("libasound2-plugins", "libportaudio2")
IN_CI = os.environ.get("CI") == "true"


def say(text: str) -> None:
    """Print one line at once, so that it stands before what a child process prints."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def missing_packages() -> list[str]:
    """Return Debian's names of the system packages that are not there."""
    missing = [package for command, package in SYSTEM.items() if shutil.which(command) is None]
    if shutil.which("dpkg-query") is None:
        return missing
    for package in LIBRARIES:
        query = ["dpkg-query", "--show", "--showformat=${Status}", package]
        found = subprocess.run(query, capture_output=True, text=True, check=False)
        if "install ok installed" not in found.stdout:
            missing.append(package)
    return missing


def install_packages(packages: list[str]) -> None:
    """Install system packages with apt, as root or through a sudo that asks nothing."""
    apt = shutil.which("apt-get")
    is_root = hasattr(os, "geteuid") and os.geteuid() == 0
    before = [] if is_root else ["sudo", "-n"]
    if apt is None or (not is_root and shutil.which("sudo") is None):
        return
    say(f"installing {', '.join(packages)}")
    env = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in (["update", "-qq"], ["install", "-y", "-qq", *packages]):
        subprocess.run([*before, apt, *command], env=env, check=False, stdout=subprocess.DEVNULL)


def make_venv(folder: Path) -> Path:
    """Make a virtual environment with pip, return its Python."""
    try:
        venv.create(folder, with_pip=True, clear=True)
    except subprocess.CalledProcessError:
        # Debian ships venv without ensurepip until python3-venv is there.
        install_packages(["python3-venv"])
        venv.create(folder, with_pip=True, clear=True)
    return python_of(folder)


def python_of(folder: Path) -> Path:
    """Return the Python of a virtual environment."""
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def make_environment() -> Path:
    """Make the virtual environment, install into it, return its Python."""
    python = python_of(ENV)
    if not python.exists():
        say(f"making {ENV.name}")
        make_venv(ENV)
    constraints = ROOT / ".ci" / "constraints.txt"
    pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    say("installing beltpitch and what its tests need")
    subprocess.run(
        [*pip, "--constraint", str(constraints), "--editable", ".[test]"], cwd=ROOT, check=True
    )
    return python


def main() -> int:
    """Set up, run pytest, return its exit code."""
    missing = missing_packages()
    if missing:
        install_packages(missing)
        missing = missing_packages()
    left_out: list[str] = []
    if missing:
        say(f"missing system packages: {', '.join(missing)}")
        if IN_CI:
            return 1
        if set(missing) - {SYSTEM["chromium"]}:
            say("left out: tests/live and the like (sound played through a real sound server)")
            left_out += ["--ignore=tests/live", "--ignore=tests/web/test_page_live.py"]
        if SYSTEM["chromium"] in missing:
            say("left out: tests/web and the report's (both in a real browser)")
            left_out += ["--ignore=tests/web", "--ignore=tests/store/test_report_page.py"]
    python = make_environment()
    options = sys.argv[1:] or ["-n", "2"]
    return subprocess.run(
        [str(python), "-m", "pytest", *left_out, *options], cwd=ROOT, check=False
    ).returncode


if __name__ == "__main__":
    sys.exit(main())
