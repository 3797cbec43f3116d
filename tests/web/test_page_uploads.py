"""Dropped recordings: too large, wrong, hostile names; nothing is left behind."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest

from beltpitch.web import uploads
from beltpitch.web.uploads import LARGEST_BYTES, shown_name
from tests.web.workbench import Server, served

GIGABYTE = 2**30


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("page")


@pytest.fixture(scope="module")
def server(folder: Path) -> Iterator[Server]:
    with served(folder) as running:
        yield running


def left(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if "book" not in path.name]


def test_a_gigabyte_is_refused_before_it_is_sent(server: Server, folder: Path) -> None:
    status, _, body = server.ask(
        "POST", "/recording?name=huge.wav", b"RIFF", content_length=str(GIGABYTE)
    )
    assert status == 413
    assert "larger than 256 MB" in json.loads(body)["error"]
    assert left(folder) == []


def test_a_gigabyte_that_is_not_announced_is_cut_off(
    server: Server, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "LARGEST_BYTES", 4 * 2**20)
    sent = 0
    with socket.create_connection(("127.0.0.1", server.port), timeout=60) as line:
        line.sendall(
            f"POST /recording?name=huge.wav HTTP/1.1\r\nhost: {server.own}\r\n"
            f"origin: http://{server.own}\r\ntransfer-encoding: chunked\r\n\r\n".encode()
        )
        chunk = b"100000\r\n" + bytes(2**20) + b"\r\n"
        try:
            while sent < GIGABYTE:
                line.sendall(chunk)
                sent += 2**20
        except OSError:
            pass  # the server has closed the line
    assert sent < 128 * 2**20  # what lies in the buffers of both sides
    assert left(folder) == []
    assert server.ask("GET", "/shop", origin=None)[0] == 200


def test_who_claims_little_and_sends_more_gets_no_further(server: Server, folder: Path) -> None:
    status, _, body = server.ask(
        "POST", "/recording?name=a.wav", b"RIFF" * 1000, content_length="4"
    )
    assert status == 422
    assert b"Traceback" not in body
    for wrong in ("-1", "1e9", "9" * 30):
        status, _, _ = server.ask("POST", "/recording?name=a.wav", b"RIFF", content_length=wrong)
        assert status in (400, 413)
    assert left(folder) == []


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd", "passwd"),
        ("..\\..\\boot.ini", "boot.ini"),
        ("/etc/shadow", "shadow"),
        ("y.wav\x00.sh", "y.wav .sh"),
        ("..", "recording"),
        ("", "recording"),
        ("a" * 500 + ".wav", "a" * 76 + ".wav"),
        ("\u202egpj.wav", "gpj.wav"),
        ("new\nline.wav", "new line.wav"),
    ],
)
def test_a_name_leads_nowhere(server: Server, folder: Path, name: str, shown: str) -> None:
    assert shown_name(name) == shown
    status, _, body = server.ask("POST", f"/recording?name={quote(name)}", b"this is no sound")
    assert status == 422
    said = json.loads(body)["error"]
    assert str(folder) not in said
    assert shown in said
    assert left(folder) == []


def test_an_empty_file_is_said(server: Server, folder: Path) -> None:
    status, _, body = server.ask("POST", "/recording?name=a.wav", b"")
    assert (status, json.loads(body)["error"]) == (422, "the recording is empty")
    assert left(folder) == []


def test_a_full_disk_is_said(server: Server, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tempfile.mkdtemp", full)
    status, _, body = server.ask("POST", "/recording?name=a.wav", b"RIFF")
    assert status == 422
    assert "No space left" in json.loads(body)["error"]


def test_what_is_taken_at_most_holds_a_quarter_of_an_hour() -> None:
    assert LARGEST_BYTES > 15 * 60 * 48_000 * 2 * 3
