"""Run the commands in README.md and put their output there: ``python tests/readme.py``.

A block that begins with three backticks and ``console`` holds commands, each after ``$ ``; what
follows a command is its output, line by line. The test runs the same and fails if it differs.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
BLOCK = re.compile(r"(```console\n)(.*?)(```)", re.DOTALL)


def output_of(command: str, folder: Path) -> str:
    """Return what a command of beltpitch prints, both streams as on a terminal."""
    words = shlex.split(command)
    if words[0] != "beltpitch":
        raise ValueError(f"README runs beltpitch only, not {words[0]}")
    env = {**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8"}
    done = subprocess.run(
        [sys.executable, "-m", "beltpitch", *words[1:]],
        cwd=folder, env=env, check=False, text=True, encoding="utf-8",
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    return "\n".join(line.rstrip() for line in done.stdout.splitlines())


def rendered(text: str, folder: Path) -> str:
    """Return the text with the output of every command in its place.

    The demo's recordings lie in ``plover`` below the folder, as README tells its reader.
    """
    output_of("beltpitch demo --into plover", folder)

    def block(match: re.Match[str]) -> str:
        commands = [line for line in match[2].splitlines() if line.startswith("$ ")]
        parts = [f"{c}\n{output_of(c[2:], folder)}".rstrip() for c in commands]
        return match[1] + "\n\n".join(parts) + "\n" + match[3]

    return BLOCK.sub(block, text)


if __name__ == "__main__":
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as temporary:
        README.write_text(rendered(README.read_text("utf-8"), Path(temporary)), "utf-8")
