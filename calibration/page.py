"""Run the commands of a page of the handbook and write what they print below each.

    python -m calibration.page            renew docs/calibrate.md

A block ``console`` holds one command and its output; a comment ``<!-- name.csv -->`` above a block
makes that block a file the commands find. A test runs the page and compares.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import tempfile
from pathlib import Path

from beltpitch.terminal.main import run_with

PAGE = Path(__file__).parents[1] / "docs" / "calibrate.md"
COMMAND = re.compile(r"```console\n\$ ([^\n]*)\n.*?```", re.DOTALL)
FILE = re.compile(r"<!-- (\S+) -->\n```\w+\n(.*?)```", re.DOTALL)


def filled(text: str, folder: Path) -> str:
    """Return the page with every output as the commands print it now, run in `folder`."""
    for name, content in FILE.findall(text):
        (folder / name).write_text(content, encoding="utf-8")
    with contextlib.chdir(folder):
        return COMMAND.sub(lambda match: _block(match[1]), text)


def _block(command: str) -> str:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = run_with(shlex.split(command)[1:])
    if code:
        raise RuntimeError(f"{command} ended with {code}")
    lines = [line.rstrip() for line in out.getvalue().rstrip().splitlines()]
    return "\n".join(["```console", f"$ {command}", *lines, "```"])


def main() -> None:
    os.environ["NO_COLOR"] = "1"
    with tempfile.TemporaryDirectory() as folder:
        text = filled(PAGE.read_text(encoding="utf-8"), Path(folder))
    PAGE.write_text(text, encoding="utf-8")
    print(f"{PAGE.name}: {len(COMMAND.findall(text))} commands run")


if __name__ == "__main__":
    main()
