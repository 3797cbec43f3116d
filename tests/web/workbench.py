"""A page's server in this process, with an input of the test's own making."""

from __future__ import annotations

import http.client
import json
import queue
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from beltpitch.audio.block import Block, Samples
from beltpitch.errors import SourceError
from beltpitch.store.machine_file import Machine
from beltpitch.web.access import AccessPolicy
from beltpitch.web.inputs import ChosenInput
from beltpitch.web.launch import server_of
from beltpitch.web.server import Clients, application
from beltpitch.web.worker import Worker, Workspace

RATE_HZ = 16_000.0
PATIENCE_S = 60.0
MOST_PICTURES = 3_000  # five minutes of sound
BELT = {"belt": "2GT 9 mm", "span": "286 +/- 0.5 mm", "ends": "pulley,clamp", "target": "36 N"}


class Fed(ChosenInput):
    """An input that delivers what the test feeds, and is lost when the test says so."""

    def __init__(self, rate_hz: float = RATE_HZ) -> None:
        self.rate_hz = rate_hz
        self.name = "a USB microphone"
        self.blocks: queue.SimpleQueue[Samples | None] = queue.SimpleQueue()
        self.closed = False
        self._chance = np.random.default_rng(5)

    def feed(self, sound: Samples, block: int = 320) -> None:
        for at in range(0, len(sound), block):
            self.blocks.put(sound[at : at + block])

    def pull_out(self) -> None:
        self.blocks.put(None)

    def __next__(self) -> Block:
        try:
            samples = self.blocks.get(timeout=0.05)
        except queue.Empty:
            samples = self._chance.normal(0.0, 3e-4, 160)  # the room goes on
        if samples is None:
            raise SourceError("the sound input bench was lost")
        return Block(samples, self.rate_hz)

    def close(self) -> None:
        self.closed = True


@dataclass
class Shown:
    """Everything a bench has shown, in order; safe to read from the test's thread."""

    pictures: queue.SimpleQueue[tuple[str, dict[str, Any]]] = field(
        default_factory=queue.SimpleQueue
    )
    last: dict[str, dict[str, Any]] = field(default_factory=dict)

    def __call__(self, kind: str, record: dict[str, Any]) -> None:
        json.dumps(record, allow_nan=False)
        self.last[kind] = record
        self.pictures.put((kind, record))

    def until(self, kind: str, right: Any) -> dict[str, Any]:
        """Wait for a picture of that kind that is right."""
        seen = []
        for _ in range(MOST_PICTURES):
            got, record = self.pictures.get(timeout=PATIENCE_S)
            if got == kind and right(record):
                return record
            seen.append(got)
        raise AssertionError(f"not among {len(seen)} pictures; the last: {self.last.get(kind)}")


class Inputs:
    """Opens fed inputs, one after the other; may be told that there is none."""

    def __init__(self) -> None:
        self.opened: list[Fed] = []
        self.there = True
        self.rate_hz = RATE_HZ

    def open(self) -> ChosenInput:
        if not self.there:
            raise SourceError("this machine has no sound input: plug in a microphone")
        self.opened.append(Fed(self.rate_hz))
        return self.opened[-1]


def shop(folder: Path, machine: Machine | None = None) -> Workspace:
    return Workspace(machine, folder / "book.sqlite", "N", demo=False, folder=folder)


@dataclass
class Server:
    """A running server and how to ask it."""

    port: int
    bench: Worker
    inputs: Inputs

    @property
    def own(self) -> str:
        return f"127.0.0.1:{self.port}"

    def ask(
        self, method: str, path: str, body: bytes | None = None, **headers: str | None
    ) -> tuple[int, dict[str, str], bytes]:
        """Send one request with exactly these headers beside Host and Origin."""
        wanted: dict[str, str | None] = {"host": self.own, "origin": f"http://{self.own}"}
        wanted |= {key.replace("_", "-"): value for key, value in headers.items()}
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        try:
            link.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for key, value in wanted.items():
                if value is not None:
                    link.putheader(key, value)
            if body is not None and "content-length" not in wanted:
                link.putheader("content-length", str(len(body)))
            link.endheaders(body)
            answer = link.getresponse()
            heads = {k.lower(): v for k, v in answer.getheaders()}
            try:
                return answer.status, heads, answer.read()
            except ConnectionResetError:  # what it does not want to read cuts the line behind it
                return answer.status, heads, b""
        finally:
            link.close()

    def do(self, task: str, **wish: object) -> tuple[int, dict[str, Any]]:
        status, _, body = self.ask(
            "POST", f"/do/{task}", json.dumps(wish).encode(), content_type="application/json"
        )
        return status, json.loads(body)


@contextmanager
def served(
    folder: Path,
    machine: Machine | None = None,
    *,
    host: str = "127.0.0.1",
    token: str | None = None,
) -> Iterator[Server]:
    """Serve a page in a thread of its own until the context ends."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    doors = AccessPolicy(host, listening.getsockname()[1], token)
    windows, inputs = Clients(), Inputs()
    bench = Worker(shop(folder, machine), inputs.open, windows.show)
    server = server_of(application(bench, windows, doors))
    thread = threading.Thread(target=server.run, args=([listening],), daemon=True)
    bench.start()
    thread.start()
    try:
        while not server.started:
            thread.join(0.01)
        yield Server(doors.port, bench, inputs)
    finally:
        server.should_exit = True
        thread.join()
        bench.close()
        listening.close()


@dataclass
class Rig:
    """A bench without a server, with what it hears and shows."""

    bench: Worker
    inputs: Inputs
    shown: Shown
    folder: Path

    def do(self, task: str, **wish: Any) -> dict[str, Any]:
        return self.bench.ask(task, wish).result(PATIENCE_S)

    def plucked(self, count: int) -> dict[str, Any]:
        def right(record: dict[str, Any]) -> bool:
            return [p["used"] for p in record["plucks"]].count(True) == count

        return self.shown.until("scene", right)
