"""Run the commands in README.md and the handbook and put their output there.

    python tests/readme.py                    README.md and every page of docs/
    python tests/readme.py docs/spans.md      only these; so too docs/pluck.png

A block that begins with three backticks and ``console`` holds commands, each after ``$ `` and, if
it is long, continued after a backslash; what follows a command is its output, line by line. A block
without any output is there to be typed and is not run. The tests run the same and fail if anything
differs.

A comment may stand above a block. ``<!-- first 12 lines -->`` shows so much of each output and
``<!-- from pair -->`` what begins with that label, with three dots for the rest;
``<!-- name.csv -->`` makes the block a file that the page's commands find. Paths are written as
seen from the folder of the run.
The demo's recordings lie in ``plover`` beside it, as README tells its reader.
"""

from __future__ import annotations

import atexit
import contextlib
import datetime as dt
import functools
import io
import os
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PICTURE = ROOT / "docs" / "pluck.png"
README = ROOT / "README.md"
DAY = "2026-03-01"  # stands for the day on which the commands are run
DOCS = ROOT / "docs"
BLOCK = re.compile(
    r"(?:<!-- (?:first (\d+) lines|from (\w+)) -->\n)?```console\n(.*?)```", re.DOTALL
)
FILE = re.compile(r"<!-- (\S+\.\w+) -->\n```\w*\n(.*?)```", re.DOTALL)
TYPED = re.compile(r"^\$ (?:[^\n]*\\\n)*[^\n]*\n", re.MULTILINE)
MADE_ELSEWHERE = {"calibrate.md"}  # by calibration/page.py


def output_of(command: str, folder: Path) -> str:
    """Return what a command of beltpitch prints, both streams as on a terminal."""
    from beltpitch.terminal.main import run_with

    words = shlex.split(command.replace("\\\n", " "))
    if words[0] != "beltpitch":
        raise ValueError(f"the pages run beltpitch only, not {words[0]}")
    said = io.StringIO()
    with (
        contextlib.chdir(folder),
        environment(NO_COLOR="1"),
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(said),
    ):
        run_with(words[1:])
    today = dt.datetime.now().astimezone().date()
    seen = said.getvalue().replace(f"{folder}{os.sep}", "").replace(f"{today}", DAY)
    return "\n".join(line.rstrip() for line in seen.splitlines())


@contextlib.contextmanager
def environment(**values: str) -> Iterator[None]:
    """Set environment variables for a while."""
    before = {name: os.environ.get(name) for name in values}
    os.environ.update(values)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


@functools.cache
def plover() -> Path:
    """Return a folder with the demo's two recordings, made once."""
    parent = Path(tempfile.mkdtemp(prefix="beltpitch-handbook-"))
    atexit.register(shutil.rmtree, parent, ignore_errors=True)
    output_of("beltpitch demo --into plover", parent)
    return parent / "plover"


def commands(block: str) -> list[str]:
    """Return the commands of a block that shows their output; none if it shows none."""
    typed = TYPED.findall(block)
    return typed if TYPED.sub("", block).strip() else []


def rendered(text: str, folder: Path) -> str:
    """Return a page with the output of every command in its place, run in a folder."""
    if "plover/" in text:
        shutil.copytree(plover(), folder / "plover")
    for name, content in FILE.findall(text):
        (folder / name).write_text(content, "utf-8")

    def block(match: re.Match[str]) -> str:
        typed = commands(match[3])
        if not typed:
            return match[0]
        parts = [c + _shown(output_of(c[2:], folder), match[1], match[2]) for c in typed]
        start = match[0][: match.start(3) - match.start()]
        return start + "\n\n".join(parts) + "\n```"

    return BLOCK.sub(block, text)


def _shown(output: str, first: str | None, label: str | None) -> str:
    """Return an output without its blank ends, or that part of it that was asked for."""
    lines = output.strip("\n").splitlines()
    if first is not None and len(lines) > int(first):
        lines = [*"\n".join(lines[: int(first)]).rstrip().splitlines(), "..."]
    elif label is not None:
        at = next(i for i, line in enumerate(lines) if line.startswith(f"  {label} "))
        lines = ["...", *lines[at:]]
    return "\n".join(lines)


def pages() -> list[Path]:
    """Return README and the pages of the handbook that show outputs."""
    every = [README, *sorted(p for p in DOCS.glob("*.md") if p.name not in MADE_ELSEWHERE)]
    return [p for p in every if any(commands(m[3]) for m in BLOCK.finditer(p.read_text("utf-8")))]


def fresh(page: Path, folder: Path) -> str:
    """Return what a page should hold, its commands run in a folder."""
    from tests.handbook import commands as reference
    from tests.handbook import notebook, ranges

    if page == reference.PAGE:
        return reference.page()
    if page == notebook.PAGE:
        return notebook.page(notebook.run())
    return rendered(ranges.filled(page.read_text("utf-8")), folder)


def draw() -> None:
    """Draw the demo's first pluck for the page on plucking, in few colours to stay small."""
    from PIL import Image

    command = f'recording y-left.wav --belt "2GT 9 mm" --span "286 mm" --picture {PICTURE}'
    output_of(f"beltpitch {command}", plover())
    with Image.open(PICTURE) as image:
        few = image.convert("RGB").quantize(64)
    few.save(PICTURE, optimize=True)


def main(wanted: list[str]) -> None:
    """Renew the pages that are named, or all."""
    made = [DOCS / "commands.md", DOCS / "python.md", PICTURE]
    for page in [Path(name).resolve() for name in wanted] or [*pages(), *made]:
        with tempfile.TemporaryDirectory() as folder, environment(XDG_DATA_HOME=folder):
            if page == PICTURE:
                draw()
            else:
                page.write_text(fresh(page, Path(folder)), "utf-8")
        sys.stdout.write(f"{page.name}\n")


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))  # started as a file: the rooms beside it are found from here
    main(sys.argv[1:])
