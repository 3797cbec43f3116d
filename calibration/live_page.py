"""What the page costs: how much later than ``listen`` it shows a pluck, and whether memory grows.

    python -m calibration.live_page delay             twenty simulated plucks at the pace of life
    python -m calibration.live_page memory --hours 2  sound at 8 kHz as fast as it is taken

Both run the page's own server and bench with a real Chromium window on it (Playwright). The delay
is counted from the moment at which the measurement has the figures, which is when ``listen`` prints
them, to the first frame of the browser that is drawn after they stand on the page; both clocks are
the machine's own. Memory: the server's process as `calibration.memory` reads it, and the
JavaScript heap of the window after a collection, each once in every minute of sound, which waits
for that. The window is driven from a process of its own. The belt is plucked twelve times a
minute, so that the fifty plucks that are remembered are there before the first tenth is over.
"""

from __future__ import annotations

import argparse
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Block, Samples
from beltpitch.session.live import State
from beltpitch.web.access import AccessPolicy
from beltpitch.web.inputs import ChosenInput, Opener
from beltpitch.web.launch import server_of
from beltpitch.web.server import Clients, application
from beltpitch.web.simulated_source import PLOVER, START, DemoRequest, DemoWorkshop
from beltpitch.web.worker import Worker, Workspace
from calibration.memory import BLOCK, MINUTES, RATE_HZ, minute, resident_kb, slope, tenths_mb

SETTLED_MS = 300  # in which a window draws what has come
OFTEN = (12, 2.5, 4.75)  # plucks a minute, the first at, and apart, in seconds
OPTIONS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
WATCH = """
window.seen = [];
window.gaps = [];
let before = null;
(function frame(at) {
  if (before !== null) window.gaps.push(at - before);
  before = at;
  requestAnimationFrame(frame);
})(null);
document.addEventListener("DOMContentLoaded", () => {
  new MutationObserver(() => requestAnimationFrame(() => window.seen.push({
    at: Date.now(), words: document.getElementById("advice").textContent,
    count: document.querySelectorAll("#plucks li").length,
  }))).observe(document.getElementById("now").parentElement,
    { subtree: true, childList: true, characterData: true });
});
"""


class Watched(Worker):
    """A bench that writes down when each state came."""

    def __init__(self, shop: Workspace, opener: Opener, show: Any) -> None:
        super().__init__(shop, opener, show)
        self.came: list[tuple[float, State]] = []

    def _tell(self, states: Iterator[State]) -> None:
        super()._tell(self._noted(states))

    def _noted(self, states: Iterator[State]) -> Iterator[State]:
        for state in states:
            if state.early is not None or state.taken is not None:
                self.came.append((time.time() * 1000, state))
            yield state


class Long(ChosenInput):
    """So many hours of sound, as fast as it is taken: minutes of a room with plucks, in turn.

    After each minute it waits until server and window are weighed; the window shows then what the
    minute brought, and nothing is on its way.
    """

    def __init__(self, hours: float, window_kb: Callable[[], float]) -> None:
        self.rate_hz = RATE_HZ
        self.left = round(hours * 60)
        self.over = threading.Event()
        self.sizes: list[tuple[float, float]] = []
        self._window_kb = window_kb
        self._minutes = [minute(number, *OFTEN) for number in range(MINUTES)]
        self._blocks: Iterator[Samples] = iter(())

    def __next__(self) -> Block:
        try:
            return Block(next(self._blocks), self.rate_hz)
        except StopIteration:
            self._turn()
            return Block(next(self._blocks), self.rate_hz)

    def _turn(self) -> None:
        self.sizes.append((resident_kb(), self._window_kb()))
        if self.left <= 0:
            self.over.set()
            time.sleep(0.5)
        self.left -= 1
        sound = self._minutes[self.left % MINUTES]
        self._blocks = iter(np.array_split(sound, len(sound) // BLOCK))

    def close(self) -> None:
        """Nothing to let go of."""


@contextmanager
def served(bench: Worker, windows: Clients, wish: dict[str, str]) -> Iterator[str]:
    """Serve a bench and yield its address."""
    listening = socket.create_server(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    server = server_of(application(bench, windows, AccessPolicy("127.0.0.1", port)))
    thread = threading.Thread(target=server.run, args=([listening],))
    bench.start(wish)
    thread.start()
    try:
        yield f"http://127.0.0.1:{port}/"
    finally:
        server.should_exit = True
        thread.join()
        bench.close()


@contextmanager
def looked_at(address: str, script: str | None = None) -> Iterator[Any]:
    """Open a browser window on an address and yield it."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=shutil.which("chromium"), args=OPTIONS)
        page = browser.new_page()
        if script is not None:
            page.add_init_script(script)
        page.goto(address)
        yield page
        browser.close()


def delays_ms(plucks: int, folder: Path) -> tuple[list[float], list[float]]:
    """Return how long each figure took to the screen, and the times from frame to frame."""
    windows, made = Clients(), list[Watched]()
    workshop = DemoWorkshop(
        lambda: DemoRequest(*made[0].asked_for), lambda task, wish: made[0].ask(task, wish)
    )
    shop = Workspace(PLOVER, folder / "book.sqlite", "N", demo=True, folder=folder)
    made.append(Watched(shop, workshop.open, windows.show))
    with served(made[0], windows, START) as address, looked_at(address, WATCH) as page:
        made[0].ask("listen", {}).result(60)
        while sum(s.taken is not None for _, s in made[0].came) < plucks:
            page.wait_for_timeout(500)
        seen, gaps = page.evaluate("[window.seen, window.gaps]")
    found = (_delay(came, seen) for came in made[0].came)
    return [delay for delay in found if delay is not None], gaps


def _delay(came: tuple[float, State], seen: list[dict[str, Any]]) -> float | None:
    at, state = came
    words = "still sounding" if state.early is not None else ""
    after = [s["at"] for s in seen if s["at"] >= at - 1 and words in s["words"]]
    return min(after) - at if after else None


def memory(hours: float, folder: Path) -> NDArray[np.float64]:
    """Return what server and window hold in kB at each minute of sound, shape (minutes, 2)."""
    windows = Clients()
    shop = Workspace(PLOVER, folder / "book.sqlite", "N", demo=False, folder=folder)
    made: list[Callable[[], float]] = []
    source = Long(hours, lambda: made[0]())
    bench = Worker(shop, lambda: source, windows.show)
    with served(bench, windows, {"name": "y-left"}) as address:
        command = [sys.executable, "-m", "calibration.live_page", "look", "--at", address]
        pipe = subprocess.PIPE
        with subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True) as child:
            made.append(lambda: asked(child))
            made[0]()  # the window is there
            bench.ask("listen", {}).result(60)
            source.over.wait()
            child.terminate()
    return np.array(source.sizes)


def asked(child: subprocess.Popen[str]) -> float:
    """Return the size of the window's heap in kB, as the child that drives it finds it now."""
    assert child.stdin is not None
    assert child.stdout is not None
    print(file=child.stdin, flush=True)
    return float(child.stdout.readline())


def look(address: str) -> None:
    """Print a window's heap in kB after a collection, once for every line that comes in."""
    with looked_at(address) as page:
        talk = page.context.new_cdp_session(page)
        talk.send("HeapProfiler.enable")
        for _ in sys.stdin:
            page.wait_for_timeout(SETTLED_MS)
            talk.send("HeapProfiler.collectGarbage")
            print(talk.send("Runtime.getHeapUsage")["usedSize"] / 1000, flush=True)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=["delay", "memory", "look"])
    parser.add_argument("--at", default="", help="address to look at")
    parser.add_argument("--hours", type=float, default=2.0)
    parser.add_argument("--plucks", type=int, default=20)
    given = parser.parse_args()
    if given.what == "look":
        look(given.at)
        return
    with tempfile.TemporaryDirectory() as name:
        if given.what == "delay":
            delays, gaps = delays_ms(given.plucks, Path(name))
            found = sorted(delays)
            print(
                f"{len(found)} figures: median {np.median(found):.0f} ms, "
                f"95 % within {np.quantile(found, 0.95):.0f} ms, largest {found[-1]:.0f} ms"
            )
            print(
                f"{len(gaps)} frames: median {np.median(gaps):.0f} ms apart, "
                f"99 % within {np.quantile(gaps, 0.99):.0f} ms, largest {max(gaps):.0f} ms"
            )
            return
        sizes = memory(given.hours, Path(name))
        at = np.arange(len(sizes)) / 60
        for what, kilobytes in zip(("server", "window"), sizes.T, strict=True):
            rise = slope(at, kilobytes)
            print(
                f"{what}: {kilobytes[-1] / 1000:.1f} MB, slope {rise.kb_per_h:+.0f} +/- "
                f"{rise.half:.0f} kB an hour: {'grows' if rise.grows else 'no growth'}; "
                f"in each tenth of the time: {', '.join(tenths_mb(kilobytes))} MB"
            )


if __name__ == "__main__":
    main()
