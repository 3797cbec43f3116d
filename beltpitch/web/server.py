"""The page's server: three files, one live line down, a few things that can be asked for.

Every window gets the same pictures over one WebSocket: the last of each kind at once, then each new
one; a window that is slow gets the latest and misses what lay between. What a window wants done
goes up as a small JSON request and is answered with what came of it or a sentence why not.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from http import HTTPStatus
from importlib.resources import files
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import ASGIApp
from starlette.websockets import WebSocket, WebSocketDisconnect

from beltpitch.errors import BeltpitchError, RequestError
from beltpitch.web import store_views
from beltpitch.web.access import AccessPolicy, Guard
from beltpitch.web.uploads import TooLarge, shown_name, status_of, stored
from beltpitch.web.worker import TASKS, Worker, Workspace

MOST_JSON = 64 * 1024  # bytes of a request that is no recording
MOST_WINDOWS = 64
PLACES = ("0", "1", "2", "3")  # two belts, two steps each
MOST_DIGITS = 3  # of the number of a result
STATIC = {
    "/": ("index.html", "text/html; charset=utf-8"),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
}


class Clients:
    """Every open window, and the last picture of each kind.

    `show` may be called from any thread, also before the server runs.
    """

    def __init__(self) -> None:
        self._last: dict[str, str] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._open: set[_Window] = set()

    def show(self, kind: str, record: dict[str, Any]) -> None:
        """Give every window a new picture."""
        text = json.dumps({"kind": kind, "record": record}, allow_nan=False)
        if self._loop is None:
            self._last[kind] = text
            return
        with suppress(RuntimeError):  # the server has ended
            self._loop.call_soon_threadsafe(self._put, kind, text)

    def begin(self) -> None:
        """Bind to the running loop."""
        self._loop = asyncio.get_running_loop()

    def end(self) -> None:
        """Let every window go."""
        for window in self._open:
            window.close()

    def _put(self, kind: str, text: str) -> None:
        self._last[kind] = text
        for window in self._open:
            window.put(kind, text)

    async def serve(self, socket: WebSocket) -> None:
        """Serve one window until it closes."""
        if len(self._open) >= MOST_WINDOWS:
            await socket.close(1013)
            return
        await socket.accept()
        window = _Window(self._last)
        self._open.add(window)
        gone = asyncio.ensure_future(_until_gone(socket, window))
        try:
            while (texts := await window.new()) is not None:
                for text in texts:
                    await socket.send_text(text)
        except (WebSocketDisconnect, RuntimeError):
            pass
        finally:
            self._open.discard(window)
            gone.cancel()
            with suppress(RuntimeError, WebSocketDisconnect):
                await socket.close(1001)


async def _until_gone(socket: WebSocket, window: _Window) -> None:
    """Read what a window sends, which means nothing, until it is gone."""
    with suppress(WebSocketDisconnect, RuntimeError):
        while True:
            await socket.receive_text()
    window.close()


class _Window:
    """What one window has not been sent yet: of each kind the latest."""

    def __init__(self, last: dict[str, str]) -> None:
        self._waiting = dict(last)
        self._ready = asyncio.Event()
        self._closed = False
        self._ready.set()

    def put(self, kind: str, text: str) -> None:
        self._waiting[kind] = text
        self._ready.set()

    def close(self) -> None:
        self._closed = True
        self._ready.set()

    async def new(self) -> list[str] | None:
        """Wait for what is new; None once it is closed."""
        await self._ready.wait()
        self._ready.clear()
        if self._closed:
            return None
        texts, self._waiting = list(self._waiting.values()), {}
        return texts


def application(bench: Worker, windows: Clients, doors: AccessPolicy) -> ASGIApp:
    """Return the page's server, guarded.

    Parameters
    ----------
    bench
        The measurement, started by whoever owns it.
    windows
        What the bench shows to.
    doors
        Whom to let in.
    """
    desk = _Desk(bench)

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        windows.begin()
        yield
        windows.end()

    routes: list[Route | WebSocketRoute] = [_file(path, *what) for path, what in STATIC.items()]
    routes += [
        WebSocketRoute("/live", windows.serve),
        Route("/do/{task}", desk.do, methods=["POST"]),
        Route("/recording", desk.recording, methods=["POST"]),
        Route("/shop", desk.shop),
        Route("/trend", desk.trend),
        Route("/trend.svg", desk.trend_picture),
        Route("/study", desk.study),
        Route("/study.svg", desk.study_picture),
        Route("/report", desk.report),
    ]
    return Guard(Starlette(routes=routes, lifespan=lifespan), doors)


def _file(path: str, name: str, kind: str) -> Route:
    content = (files("beltpitch.web") / "static" / name).read_bytes()

    async def answer(_: Request) -> Response:
        return Response(content, media_type=kind)

    return Route(path, answer)


Answer = Callable[["_Desk", Request], Awaitable[Response]]


def _in_a_sentence(answer: Answer) -> Answer:
    """Turn an error of beltpitch into its sentence."""

    async def answering(desk: _Desk, request: Request) -> Response:
        try:
            return await answer(desk, request)
        except BeltpitchError as error:
            # what was not read of a request is not read any more
            unread = {"connection": "close"} if isinstance(error, TooLarge) else None
            return JSONResponse({"error": error.message}, status_of(error), unread)

    return answering


class _Desk:
    """Takes what windows ask for to the bench and to the book."""

    def __init__(self, bench: Worker) -> None:
        self._bench = bench

    @property
    def _shop(self) -> Workspace:
        return self._bench.shop

    @_in_a_sentence
    async def do(self, request: Request) -> Response:
        task = request.path_params["task"]
        if task not in TASKS:
            return JSONResponse({"error": "nothing of that name can be done"}, HTTPStatus.NOT_FOUND)
        wish = await _json(request)
        return JSONResponse(await asyncio.wrap_future(self._bench.ask(task, wish)))

    @_in_a_sentence
    async def recording(self, request: Request) -> Response:
        name = shown_name(request.query_params.get("name", ""))
        place = request.query_params.get("place", "")
        claimed = request.headers.get("content-length", "")
        length = int(claimed) if claimed.isdecimal() else None
        try:
            path = await stored(request.stream(), length, name, self._shop.folder)
        except ClientDisconnect:
            return Response(status_code=HTTPStatus.BAD_REQUEST)
        wish = {"path": str(path), "name": name, "place": int(place) if place in PLACES else None}
        return JSONResponse(await asyncio.wrap_future(self._bench.ask("read", wish)))

    async def shop(self, _: Request) -> Response:
        return JSONResponse(await run_in_threadpool(store_views.shop_record, self._shop))

    @_in_a_sentence
    async def trend(self, request: Request) -> Response:
        name = _name_of(request)
        return JSONResponse(await run_in_threadpool(store_views.trend_record, self._shop, name))

    @_in_a_sentence
    async def trend_picture(self, request: Request) -> Response:
        drawn = await run_in_threadpool(store_views.trend_svg, self._shop, _name_of(request))
        return Response(drawn, media_type="image/svg+xml")

    @_in_a_sentence
    async def study(self, request: Request) -> Response:
        name = request.query_params.get("of", "")
        return JSONResponse(await run_in_threadpool(store_views.study_record, self._shop, name))

    @_in_a_sentence
    async def study_picture(self, request: Request) -> Response:
        name, index = request.query_params.get("of", ""), request.query_params.get("index", "0")
        which = int(index) if index.isdecimal() and len(index) <= MOST_DIGITS else -1
        drawn = await run_in_threadpool(store_views.study_svg, self._shop, name, which)
        return Response(drawn, media_type="image/svg+xml")

    @_in_a_sentence
    async def report(self, _: Request) -> Response:
        text = await run_in_threadpool(store_views.report_html, self._shop)
        return Response(
            text,
            media_type="text/html; charset=utf-8",
            headers={"content-disposition": 'attachment; filename="report.html"'},
        )


def _name_of(request: Request) -> str:
    return request.query_params.get("belt", "")


async def _json(request: Request) -> dict[str, Any]:
    """Return the JSON object of a request.

    Raises
    ------
    RequestError
        If it is none, or far too long.
    """
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise RequestError("a request is JSON")
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > MOST_JSON:
            raise RequestError("a request is a few words of JSON")
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        raise RequestError("the request is no JSON") from None
    if not isinstance(found, dict):
        raise RequestError("a request is one JSON object")
    return found
