"""Who may come in: this page, asked for by its own address, and nobody else.

A page on the web can make a browser send requests to a server on the same machine, under a name of
its own that it lets point here (DNS rebinding) or straight to 127.0.0.1 (cross-site requests and
WebSockets). So every request must name one of this server's own addresses in ``Host``; whatever
changes something or opens a live line must name the same in ``Origin``; and where the page is
opened to other machines, each must show a token. Sources: RFC 9110 (Host), RFC 6454 (Origin),
RFC 6455 section 10.2 (Origin of WebSockets), the Fetch standard (Sec-Fetch-Site).

Everything that goes out forbids scripts, frames and connections other than the page's own.
"""

from __future__ import annotations

import hmac
import ipaddress
import socket
from dataclasses import dataclass
from http import HTTPStatus
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from beltpitch.errors import RequestError

LEAST_TOKEN = 16  # characters: nobody guesses it through a network
LOCAL_NAMES = ("127.0.0.1", "localhost", "[::1]")
ANY = ("0.0.0.0", "::")
SAFE_METHODS = ("GET", "HEAD")

OUTGOING = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(), camera=(), geolocation=()",
    "cache-control": "no-store",
}


@dataclass(frozen=True, slots=True)
class AccessPolicy:
    """Where the page is served, and to whom.

    Parameters
    ----------
    host
        The address it is bound to.
    port
        Its port.
    token
        What a visitor must show; None for none.
    """

    host: str
    port: int
    token: str | None = None

    def __post_init__(self) -> None:
        if self.token is not None and len(self.token) < LEAST_TOKEN:
            raise RequestError(
                f"--token has {len(self.token)} characters; give at least {LEAST_TOKEN}, such as "
                'those of: python -c "import secrets; print(secrets.token_urlsafe())"'
            )
        if not self.is_local and self.token is None:
            raise RequestError(
                f"--host {self.host} opens the page to every machine that reaches this one: they "
                "could see your readings and steer the measurement. Add --token with a secret of "
                f"{LEAST_TOKEN} characters or more, and use it only in a network you trust: "
                "nothing is encrypted"
            )

    @property
    def is_local(self) -> bool:
        """Whether only this machine can reach it."""
        if self.host == "localhost":
            return True
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return False

    @property
    def cookie(self) -> str:
        """Name of the cookie that holds the token; cookies do not tell ports apart."""
        return f"beltpitch-{self.port}"

    def knows(self, host: str | None) -> bool:
        """Whether a request's Host names this server."""
        if not host:
            return False
        try:
            parts = urlsplit(f"//{host}")
            name, port = parts.hostname or "", parts.port or 80
        except ValueError:
            return False
        if port != self.port or parts.path or parts.username is not None:
            return False
        return self._is_ours(name)

    def _is_ours(self, name: str) -> bool:
        shown = f"[{name}]" if ":" in name else name
        if shown in LOCAL_NAMES or name == self.host:
            return True
        if self.host not in ANY:
            return False
        # Bound to every address: a bare address cannot be rebound; of names only our own holds.
        own = socket.gethostname().lower()
        return _is_address(name) or name in (own, f"{own}.local")

    def lets_in(self, shown: str | None) -> bool:
        """Whether what is shown is the token; always true where none is wanted."""
        if self.token is None:
            return True
        return shown is not None and hmac.compare_digest(shown.encode(), self.token.encode())


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


class Guard:
    """Stands before an application and lets in only what the doors allow.

    Parameters
    ----------
    app
        What is guarded.
    doors
        Whom to let in.
    """

    def __init__(self, app: ASGIApp, doors: AccessPolicy) -> None:
        self._app, self._doors = app, doors

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request through, or refuse it in a sentence."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        answer = self._refused(scope)
        if answer is None:
            await self._app(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        else:
            await answer(scope, receive, _with_headers(send))

    def _refused(self, scope: Scope) -> Response | None:
        """Return the answer to one who is not let in; None for who is."""
        headers = Headers(scope=scope)
        if not self._doors.knows(headers.get("host")):
            return _said("this server is not known by that name", HTTPStatus.MISDIRECTED_REQUEST)
        if not self._is_from_here(scope, headers):
            return _said("this request comes from another page")
        return self._without_token(scope, headers)

    def _is_from_here(self, scope: Scope, headers: Headers) -> bool:
        """Whether it was made by our own page, or is a plain look at it."""
        origin = headers.get("origin")
        changes = scope["type"] == "websocket" or scope["method"] not in SAFE_METHODS
        if origin is None:
            plain = headers.get("sec-fetch-site", "none") in ("none", "same-origin")
            # a link on another page may lead here; nothing but the page itself may follow it
            return not changes and (plain or headers.get("sec-fetch-mode") == "navigate")
        return origin == f"http://{headers.get('host')}"

    def _without_token(self, scope: Scope, headers: Headers) -> Response | None:
        doors = self._doors
        if doors.token is None:
            return None
        asked = parse_qs(scope["query_string"].decode("latin-1")).get("token", [None])[0]
        if scope["path"] == "/" and asked is not None and doors.lets_in(asked):
            answer = RedirectResponse("/", HTTPStatus.SEE_OTHER)
            answer.set_cookie(doors.cookie, asked, httponly=True, samesite="strict")
            return answer
        if doors.lets_in(cookie_parser(headers.get("cookie", "")).get(doors.cookie, "")):
            return None
        return _said("this page asks for its token: open it as /?token=... with the one given")


def _said(words: str, status: HTTPStatus = HTTPStatus.FORBIDDEN) -> Response:
    return PlainTextResponse(f"{words}\n", status)


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] in ("http.response.start", "websocket.http.response.start"):
            headers = MutableHeaders(scope=message)
            for name, value in OUTGOING.items():
                headers[name] = value
        await send(message)

    return sending
