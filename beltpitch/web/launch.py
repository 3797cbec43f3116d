"""Open the page: the bench, the server, and a browser to look at it."""

from __future__ import annotations

import socket
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beltpitch.errors import RequestError
from beltpitch.store.belt_request import book_path
from beltpitch.store.machine_file import Machine
from beltpitch.web.access import AccessPolicy
from beltpitch.web.inputs import Opener, microphone
from beltpitch.web.simulated_source import PLOVER, START, DemoRequest, DemoWorkshop
from beltpitch.web.worker import Worker, Workspace

if TYPE_CHECKING:
    from starlette.types import ASGIApp
    from uvicorn import Server

PORT = 8655
LONGEST_MESSAGE = 4096  # bytes from a window, which has nothing to say
FAREWELL_S = 2


@dataclass(frozen=True, slots=True)
class LaunchOptions:
    """What the command line asks for.

    Parameters
    ----------
    wish
        The belt or pair to begin with; empty for none.
    machine, book
        The machine file's, and the book's file if one was named.
    unit
        Unit of force.
    device
        The sound input.
    demo
        Whether plucks are simulated.
    host, port, token
        Where it is served, and what a visitor must show.
    """

    wish: Mapping[str, str]
    machine: Machine | None = None
    book: Path | None = None
    unit: str = "N"
    device: str | None = None
    demo: bool = False
    host: str = "127.0.0.1"
    port: int | None = None
    token: str | None = None


def serve(wanted: LaunchOptions, ready: Callable[[str], None]) -> None:
    """Serve the page until somebody ends it (Ctrl-C).

    Parameters
    ----------
    wanted
        What was asked for.
    ready
        Is given the address once it can be opened.

    Raises
    ------
    RequestError
        If it would be open to others without a token, the address cannot be had, or the belt is
        not known.
    """
    AccessPolicy(wanted.host, 0, wanted.token)  # refuses before anything is opened
    listening = _bound(wanted.host, wanted.port)
    with listening, tempfile.TemporaryDirectory(prefix="beltpitch-") as folder:
        _serve(wanted, ready, listening, Path(folder))


def _serve(
    wanted: LaunchOptions, ready: Callable[[str], None], listening: socket.socket, folder: Path
) -> None:
    from beltpitch.web.server import Clients, application

    port = listening.getsockname()[1]
    doors = AccessPolicy(wanted.host, port, wanted.token)
    windows = Clients()
    bench = bench_for(wanted, folder, windows.show)
    server = server_of(application(bench, windows, doors))
    bench.start(wanted.wish or (START if wanted.demo else None), listen=wanted.demo)
    try:
        ready(address(doors))
        server.run(sockets=[listening])
    finally:
        bench.close()


def server_of(app: ASGIApp) -> Server:
    """Return the server of a page's application; it is run on a socket that listens."""
    import uvicorn

    return uvicorn.Server(
        uvicorn.Config(
            app,
            log_level="error",
            access_log=False,
            http="h11",
            ws="websockets-sansio",
            ws_max_size=LONGEST_MESSAGE,
            timeout_graceful_shutdown=FAREWELL_S,
            server_header=False,
            date_header=False,
        )
    )


def bench_for(
    wanted: LaunchOptions, folder: Path, show: Callable[[str, dict[str, Any]], None]
) -> Worker:
    """Return the bench for what is wanted: with the microphone, or with the simulated workshop."""
    machine = PLOVER if wanted.demo else wanted.machine
    book = wanted.book or (folder / "book.sqlite" if wanted.demo else book_path(None, machine))
    shop = Workspace(machine, book, wanted.unit, demo=wanted.demo, folder=folder)
    made: list[Worker] = []
    opener: Opener = microphone(wanted.device)
    if wanted.demo:
        opener = DemoWorkshop(
            lambda: DemoRequest(*made[0].asked_for), lambda task, wish: made[0].ask(task, wish)
        ).open
    made.append(Worker(shop, opener, show))
    return made[0]


def address(doors: AccessPolicy) -> str:
    """Return where the page is opened on this machine."""
    host = "127.0.0.1" if doors.host in ("0.0.0.0", "::") else doors.host
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{doors.port}/" + (f"?token={doors.token}" if doors.token else "")


def _bound(host: str, port: int | None) -> socket.socket:
    """Return a socket that listens: at the port that was named, the usual one, or any."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    said: Exception | None = None
    for wanted in (PORT, 0) if port is None else (port,):
        found = socket.socket(family, socket.SOCK_STREAM)
        try:
            found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            found.bind((host, wanted))
            # At once: the address is told before the server runs, and until somebody listens
            # Linux lets a second page have the same port.
            found.listen()
        except (OSError, OverflowError) as error:
            found.close()
            said = error
        else:
            return found
    where = f"--host {host}" + ("" if port is None else f" --port {port}")
    raise RequestError(f"{where} cannot be had: {getattr(said, 'strerror', None) or said}")
