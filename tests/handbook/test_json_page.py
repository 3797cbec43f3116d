"""docs/json.md explains every key that the commands print, and no other."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from beltpitch.audio import microphone
from beltpitch.terminal import listen
from beltpitch.terminal.main import run_with
from tests import readme
from tests.handbook import contract
from tests.terminal.test_listen_command import FakeMicrophone, sound

PAIR = ["--belt", "2GT 9 mm", "--span", "286 mm", "--plucks", "3", "--json"]


LIVE = {"live", "listen"}  # below


def test_the_keys_explained_are_the_keys_printed(tmp_path: Path) -> None:
    shutil.copytree(readme.plover(), tmp_path / "plover")
    printed, explained = contract.printed(tmp_path), contract.explained()
    missing = {name: keys - explained.get(name, set()) for name, keys in printed.items()}
    assert {name: keys for name, keys in missing.items() if keys} == {}
    gone = {
        name: keys - printed.get(name, set()) - contract.ON_REQUEST.get(name, set())
        for name, keys in explained.items()
        if name not in LIVE
    }
    assert {name: keys for name, keys in gone.items() if keys} == {}


def test_every_key_of_a_live_pluck_is_explained(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    plucked = np.concatenate([sound(3), sound(3, 84.0)])  # unmatched, so that a turn is told
    monkeypatch.setattr(listen, "opened", lambda _: FakeMicrophone(plucked))
    run_with(["pair", *PAIR])
    found: dict[str, set[str]] = {}
    for line in capsys.readouterr().out.splitlines():
        record = json.loads(line)
        if "pluck" in record:
            contract.gather({"schema": 1, "live": record["pluck"]}, found)
    explained = contract.explained()
    assert found["live"] == explained["live"]
    assert found["pair"] == {key for key in explained["pair"] if key != "readings"}


def test_every_key_of_a_sound_input_is_explained(monkeypatch: pytest.MonkeyPatch) -> None:
    one = microphone.AudioInput(0, "a tape", "no host", 1, 48_000.0, is_default=True)
    monkeypatch.setattr(listen, "inputs", lambda: (one,))
    whole: dict[str, Any] = contract.json_of("beltpitch listen --devices --json", Path.cwd())
    found: dict[str, set[str]] = {}
    contract.gather(whole, found)
    assert found["listen"] == contract.explained()["listen"]
