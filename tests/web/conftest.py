"""The page in a real Chromium, with sound really played; see tests/soundbench.py.

Playwright is loaded by the tests that need a browser alone: the others run without it too.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from beltpitch.web.worker import Worker as PageBench
from tests.soundbench import Bench, bench, start_bench
from tests.web.workbench import Inputs, Rig, Shown, shop

if TYPE_CHECKING:
    from playwright.sync_api import Browser, ConsoleMessage, Error, Page

__all__ = ["bench", "start_bench"]

RUN = "from beltpitch.terminal.main import run; run()"
CHROMIUM = ("chromium", "chromium-browser", "google-chrome")
OPTIONS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
PATIENCE_MS = 60_000


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests; each window has a profile of its own."""
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=PATIENCE_MS)  # a busy machine draws late
    found = next((path for name in CHROMIUM if (path := shutil.which(name))), None)
    assert found is not None, "these tests need Chromium: apt-get install chromium"
    with sync_playwright() as started:
        running = started.chromium.launch(executable_path=found, args=OPTIONS)
        yield running
        running.close()


class Windows:
    """Opens windows, and knows what went wrong in any of them."""

    def __init__(self, browser: Browser) -> None:
        self._browser = browser
        self._contexts: list[Any] = []
        self.faults: list[str] = []

    def open(self, address: str, *, width: int = 1280, height: int = 900, **how: Any) -> Page:
        context = self._browser.new_context(viewport={"width": width, "height": height}, **how)
        context.set_default_timeout(PATIENCE_MS)
        self._contexts.append(context)
        page = context.new_page()
        page.on("pageerror", self._failed)
        page.on("console", self._said)
        page.goto(address)
        return page

    def _failed(self, error: Error) -> None:
        self.faults.append(str(error))

    def _said(self, message: ConsoleMessage) -> None:
        # a refusal, and a server that has ended, are said on the page; Chromium logs them too
        said_by_chromium = ("Failed to load resource", "WebSocket connection to")
        if message.type == "error" and not message.text.startswith(said_by_chromium):
            self.faults.append(message.text)

    def close(self) -> None:
        for context in self._contexts:
            context.close()


@pytest.fixture
def windows(browser: Browser) -> Iterator[Windows]:
    """Open windows; a script error in any of them fails the test."""
    opened = Windows(browser)
    yield opened
    opened.close()
    assert opened.faults == []


class Command:
    """``beltpitch page`` running in a bench's environment."""

    def __init__(self, bench: Bench, *words: str) -> None:
        self.child: subprocess.Popen[str] = bench.python("-c", RUN, "page", "--no-open", *words)
        assert self.child.stderr is not None
        told = []
        for line in self.child.stderr:
            told.append(line)
            if "the page is at" in line:
                self.address = line.split("the page is at ")[1].split()[0]
                return
        raise AssertionError("".join(told))

    def end(self) -> str:
        """End it as Ctrl-C does and return what it still had to say."""
        import signal

        self.child.send_signal(signal.SIGINT)
        _, errors = self.child.communicate(timeout=30)
        assert "Traceback" not in errors, errors
        return errors


@pytest.fixture
def run_page() -> Iterator[Callable[..., Command]]:
    """Start the command; it is ended after the test."""
    started: list[Command] = []

    def start(bench: Bench, *words: str) -> Command:
        started.append(Command(bench, *words))
        return started[-1]

    yield start
    for command in started:
        if command.child.poll() is None:
            command.end()


@pytest.fixture
def workshop(tmp_path: Path) -> Path:
    """Return a machine file of an invented workshop."""
    path = tmp_path / "beltpitch.toml"
    belt = (
        'belt = "2GT 9 mm"\nlinear_mass = "11.0 +/- 0.1 g/m"\nspan = "286 +/- 0.5 mm"\n'
        'ends = "pulley,clamp"\ntarget = "32 N"\nwithin = "15%"\n'
    )
    path.write_text(
        '[machine]\nname = "Plover"\nbook = "book.sqlite"\n'
        f"[belts.y-left]\n{belt}[belts.y-right]\n{belt}"
        '[pairs.y]\nbelts = ["y-left", "y-right"]\n'
    )
    return path


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    inputs, shown = Inputs(), Shown()
    behind = PageBench(shop(tmp_path), inputs.open, shown)
    behind.start()
    yield Rig(behind, inputs, shown, tmp_path)
    behind.close()
