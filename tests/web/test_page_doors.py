"""Who is let in: attacks from other pages, other names, without the token."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from typing import Any

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect
from websockets.typing import Origin

from beltpitch.errors import RequestError
from beltpitch.web.access import LEAST_TOKEN, OUTGOING, AccessPolicy
from beltpitch.web.launch import LaunchOptions, serve
from tests.web.workbench import Server, served

TOKEN = "correct-horse-battery"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with served(tmp_path_factory.mktemp("page")) as running:
        yield running


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with served(tmp_path_factory.mktemp("page"), token=TOKEN) as running:
        yield running


def test_the_page_itself_is_served_with_a_strict_policy(server: Server) -> None:
    for path, kind in (
        ("/", "text/html"),
        ("/page.js", "text/javascript"),
        ("/page.css", "text/css"),
    ):
        status, headers, body = server.ask("GET", path, origin=None)
        assert status == 200
        assert headers["content-type"].startswith(kind)
        assert {name: headers[name] for name in OUTGOING} == OUTGOING
        assert b"://" not in body.replace(b"http://www.w3.org/2000/svg", b"").replace(
            b"ws://${", b""
        )
    assert "unsafe" not in OUTGOING["content-security-policy"]


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:80",
        "127.0.0.1",
        "127.0.0.1:1",
        "user@127.0.0.1",
        "",
        "[",
        None,
    ],
)
def test_another_name_is_refused(server: Server, host: str | None) -> None:
    """DNS rebinding: the name belongs to somebody else, the address is ours."""
    origin = None if host is None else f"http://{host}"
    for method, path in (("GET", "/"), ("GET", "/shop"), ("POST", "/do/stop")):
        status, _, body = server.ask(method, path, b"{}", host=host, origin=origin)
        assert status in (400, 421), body
        assert b"Traceback" not in body


def test_every_own_name_is_known(server: Server) -> None:
    for name in ("127.0.0.1", "localhost", "LOCALHOST"):
        assert server.ask("GET", "/shop", host=f"{name}:{server.port}", origin=None)[0] == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", "", None])
def test_a_request_from_another_page_changes_nothing(server: Server, origin: str | None) -> None:
    for path in ("/do/listen", "/recording?name=a.wav"):
        status, _, body = server.ask(
            "POST", path, b"{}", origin=origin, content_type="application/json"
        )
        assert (status, body) == (403, b"this request comes from another page\n")
    assert server.inputs.opened == []


def test_another_page_may_lead_here_but_not_look_in(server: Server) -> None:
    link: dict[str, Any] = {"sec_fetch_site": "cross-site", "sec_fetch_mode": "navigate"}
    assert server.ask("GET", "/", origin=None, **link)[0] == 200
    picture: dict[str, Any] = {"sec_fetch_site": "cross-site", "sec_fetch_mode": "no-cors"}
    assert server.ask("GET", "/trend.svg?belt=y", origin=None, **picture)[0] == 403
    assert server.ask("GET", "/shop", origin="http://evil.example")[0] == 403


def test_a_form_of_another_kind_is_no_request(server: Server) -> None:
    status, _, body = server.ask("POST", "/do/listen", b"{}", content_type="text/plain")
    assert (status, json.loads(body)["error"]) == (422, "a request is JSON")


def _first(url: str, origin: str | None, **headers: str) -> dict[str, object]:
    named = None if origin is None else Origin(origin)
    with connect(url, origin=named, additional_headers=headers) as line:
        return dict(json.loads(line.recv()))


def test_the_live_line_is_for_our_own_page(server: Server) -> None:
    url = f"ws://127.0.0.1:{server.port}/live"
    assert _first(url, f"http://{server.own}")["kind"] == "scene"
    for origin in ("http://evil.example", "null", f"https://{server.own}", None):
        with pytest.raises(InvalidStatus, match="403"):
            _first(url, origin)


def test_what_a_window_sends_means_nothing(server: Server) -> None:
    url = f"ws://127.0.0.1:{server.port}/live"
    with connect(url, origin=Origin(f"http://{server.own}")) as line:
        line.send('{"do": "listen"}')
        assert json.loads(line.recv())["kind"] == "scene"
    assert server.inputs.opened == []


def test_no_token_no_page(guarded: Server) -> None:
    for path in (
        "/",
        "/shop",
        "/?token=wrong-wrong-wrong-wrong",
        f"/shop?token={TOKEN}",
        "/?token=",
    ):
        status, _, body = guarded.ask("GET", path, origin=None)
        assert status == 403
        assert TOKEN.encode() not in body
    url = f"ws://127.0.0.1:{guarded.port}/live"
    with pytest.raises(InvalidStatus, match="403"):
        _first(url, f"http://{guarded.own}")


def test_the_token_opens_and_leaves_the_address_bar(guarded: Server) -> None:
    status, headers, _ = guarded.ask("GET", f"/?token={TOKEN}", origin=None)
    assert (status, headers["location"]) == (303, "/")
    cookie = headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    shown = cookie.partition(";")[0]
    assert guarded.ask("GET", "/shop", origin=None, cookie=shown)[0] == 200
    url = f"ws://127.0.0.1:{guarded.port}/live"
    first = _first(url, f"http://{guarded.own}", cookie=shown)
    assert first["kind"] == "scene"
    # the cookie alone does not let another page in
    evil: dict[str, Any] = {
        "origin": "http://evil.example",
        "cookie": shown,
        "content_type": "application/json",
    }
    assert guarded.ask("POST", "/do/stop", b"{}", **evil)[0] == 403


def test_open_to_others_demands_a_token_and_says_what_it_opens() -> None:
    for host in ("0.0.0.0", "::", "192.168.1.7", "shop.local"):
        with pytest.raises(RequestError, match="opens the page to every machine"):
            AccessPolicy(host, 80)
        assert not AccessPolicy(host, 80, "x" * LEAST_TOKEN).is_local
    for host in ("127.0.0.1", "127.0.0.2", "::1", "localhost"):
        assert AccessPolicy(host, 80).is_local
    with pytest.raises(RequestError, match="has 5 characters"):
        AccessPolicy("127.0.0.1", 80, "short")


def test_bound_to_everything_an_address_is_known_and_a_strange_name_is_not() -> None:
    doors = AccessPolicy("0.0.0.0", 8655, "x" * LEAST_TOKEN)
    assert doors.knows("192.168.1.7:8655")
    assert doors.knows("[fe80::1]:8655")
    assert not doors.knows("evil.example:8655")
    assert not doors.knows("192.168.1.7:80")
    named = AccessPolicy("shop.local", 80, "x" * LEAST_TOKEN)
    assert named.knows("shop.local")
    assert not named.knows("192.168.1.7")


@pytest.mark.parametrize(
    "path",
    [
        "/../pyproject.toml",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/page.css/../../bench.py",
        "/static/page.js",
        "//etc/passwd",
        "/do/../shop/..",
        "/do/read",
        "/do/__init__",
        "/trend.svg/%00",
        "/" + "a" * 5000,
    ],
)
def test_no_path_leads_anywhere_else(server: Server, path: str) -> None:
    for method in ("GET", "POST"):
        status, _, body = server.ask(method, path, b"{}", content_type="application/json")
        assert status in (400, 404, 405, 414), body
        assert b"root:" not in body
        assert b"Traceback" not in body


def test_what_is_too_much_is_refused(server: Server) -> None:
    status, _, body = server.ask(
        "POST",
        "/do/choose",
        b'{"belt": "' + b"x" * 100_000 + b'"}',
        content_type="application/json",
    )
    assert (status, json.loads(body)["error"]) == (422, "a request is a few words of JSON")
    for bad in (b"[", b"[1]", b"\xff", b"[" * 60_000, b'{"belt": 1}', b'{"wrong": "x"}'):
        status, _, body = server.ask("POST", "/do/choose", bad, content_type="application/json")
        assert status == 422, body
        assert json.loads(body)["error"]
    assert server.do("choose", belt="y" * 300)[0] == 422


class Enough(Exception):
    """Ends a page as soon as it has said its address."""


def test_an_address_that_is_told_can_be_opened_at_once_and_is_one_pages_alone() -> None:
    told: list[str] = []

    def ready(address: str) -> None:
        told.append(address)
        host, port = address.removeprefix("http://").rstrip("/").split(":")
        with socket.create_connection((host, int(port)), timeout=5):  # nothing serves it yet
            pass
        if len(told) < 2:  # a second page, before the first has begun to serve
            with pytest.raises(Enough):
                serve(LaunchOptions({}), ready)
        raise Enough

    with pytest.raises(Enough):
        serve(LaunchOptions({}), ready)
    assert len(set(told)) == 2
