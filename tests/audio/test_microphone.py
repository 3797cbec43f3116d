"""Which input is meant, what is said where there is none, and what becomes of several channels.

The live path is tested on a real sound system in `tests/live`. What a machine without the right
hardware cannot provoke (Windows naming, overflow in the driver, a missing library) is played by a
stand-in for sounddevice here.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from beltpitch.audio import microphone as module
from beltpitch.audio.microphone import AudioInput, find_input, inputs, open_beeper, open_microphone
from beltpitch.errors import SourceError


class PortAudioError(Exception):
    """Stands in for sounddevice's."""


def device(name: str, host: int = 0, channels: int = 2, rate_hz: float = 48_000.0) -> Any:
    return {
        "name": name,
        "hostapi": host,
        "max_input_channels": channels,
        "default_samplerate": rate_hz,
    }


def install(
    monkeypatch: pytest.MonkeyPatch, devices: list[Any], default: int = -1, **more: Any
) -> None:
    """Let `devices` be what the machine has."""

    def query(*_: Any, kind: str | None = None) -> Any:
        if kind is None:
            return devices
        if default < 0:
            raise PortAudioError("Error querying device -1")
        return devices[default] | {"index": default}

    fake = SimpleNamespace(
        query_devices=query,
        query_hostapis=lambda: [{"name": "MME"}, {"name": "Windows WASAPI"}],
        PortAudioError=PortAudioError,
        **more,
    )
    monkeypatch.setitem(sys.modules, "sounddevice", fake)


# --- which one -----------------------------------------------------------------------------------


def test_only_inputs_are_listed(monkeypatch: pytest.MonkeyPatch) -> None:
    install(monkeypatch, [device("Speakers", channels=0), device("USB mic")], default=1)
    assert inputs() == [AudioInput(1, "USB mic", "MME", 2, 48_000.0, is_default=True)]


def test_by_number_by_part_of_a_name_by_default(monkeypatch: pytest.MonkeyPatch) -> None:
    install(monkeypatch, [device("Built-in"), device("USB mic"), device("Line in")], default=2)
    assert find_input().name == "Line in"
    assert find_input(1).name == "USB mic"
    assert find_input("1").name == "USB mic"
    assert find_input("usb").name == "USB mic"


def test_without_a_default_the_first_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    install(monkeypatch, [device("Speakers", channels=0), device("Built-in")])
    assert find_input().name == "Built-in"


def test_an_ambiguous_name_lists_the_matches(monkeypatch: pytest.MonkeyPatch) -> None:
    install(monkeypatch, [device("USB mic A"), device("Line in"), device("USB mic B")], default=1)
    with pytest.raises(
        SourceError,
        match=r"^'usb' fits 2 sound inputs: 0 \(USB mic A, MME\), 2 \(USB mic B, MME\); "
        r"name one by its number\.$",
    ):
        find_input("usb")


def test_an_exact_name_is_not_ambiguous(monkeypatch: pytest.MonkeyPatch) -> None:
    install(monkeypatch, [device("USB mic 2"), device("USB mic")], default=0)
    assert find_input("usb MIC").index == 1


def test_one_microphone_under_several_systems(monkeypatch: pytest.MonkeyPatch) -> None:
    install(monkeypatch, [device("USB mic"), device("USB mic", 1), device("Line", 1)], default=2)
    assert find_input("usb").index == 1


def test_unknown_names_and_numbers_list_what_there_is(monkeypatch: pytest.MonkeyPatch) -> None:
    install(monkeypatch, [device("Built-in")], default=0)
    with pytest.raises(SourceError, match=r"called 'blue'; there are 0 \(Built-in, MME\)"):
        find_input("blue")
    with pytest.raises(SourceError, match=r"no sound input 7; there are 0 \(Built-in, MME\)"):
        find_input(7)


@pytest.mark.parametrize(
    ("name", "rate_hz", "loopback", "bluetooth"),
    [
        ("Built-in Microphone", 44_100.0, False, False),
        ("Monitor of Built-in Audio", 48_000.0, True, False),
        ("Stereo Mix (Realtek)", 48_000.0, True, False),
        ("AirPods", 24_000.0, False, True),
        ("Headset", 16_000.0, False, True),
        ("Headset (Hands-Free AG Audio)", 44_100.0, False, True),
    ],
)
def test_guesses(name: str, rate_hz: float, loopback: bool, bluetooth: bool) -> None:
    found = AudioInput(0, name, "ALSA", 1, rate_hz, is_default=False)
    assert (found.is_loopback, found.is_bluetooth) == (loopback, bluetooth)
    assert len(found.warnings) == loopback + bluetooth
    assert all(name in said for said in found.warnings)


# --- what is said where nothing can be heard -----------------------------------------------------


@pytest.mark.parametrize(
    ("system", "fix"),
    [
        ("linux", "libasound2-plugins"),
        ("darwin", "System Settings > Privacy & Security > Microphone"),
        ("win32", "Settings > Privacy & security > Microphone"),
        ("freebsd14", "libasound2-plugins"),
    ],
)
def test_no_input(monkeypatch: pytest.MonkeyPatch, system: str, fix: str) -> None:
    install(monkeypatch, [device("Speakers", channels=0)])
    monkeypatch.setattr(sys, "platform", system)
    with pytest.raises(SourceError, match=f"this machine has no sound input: .*{fix}"):
        open_microphone()


@pytest.mark.parametrize(
    ("system", "fix"), [("linux", "sudo apt install libportaudio2"), ("win32", "pip install")]
)
def test_no_library(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, system: str, fix: str) -> None:
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "platform", system)
    for use in (inputs, open_microphone, open_beeper):
        with pytest.raises(SourceError, match=f"PortAudio library is missing: .*{fix}"):
            use()


def test_a_sound_system_that_does_not_start(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "sounddevice.py").write_text(
        "class PortAudioError(Exception): pass\nraise PortAudioError('Error initializing', -1)\n"
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    with pytest.raises(SourceError, match=r"does not start: Error initializing\.$"):
        inputs()


def test_an_input_that_cannot_be_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(**_: Any) -> None:
        raise PortAudioError("Error opening InputStream: Device unavailable", -9985)

    install(monkeypatch, [device("USB mic")], default=0, InputStream=refuse)
    monkeypatch.setattr(sys, "platform", "darwin")
    with pytest.raises(
        SourceError,
        match=r"USB mic cannot be opened at 96000 Hz \(Error opening InputStream: Device "
        r"unavailable\): allow the terminal in System Settings",
    ):
        open_microphone(rate_hz=96_000)


def test_inputs_that_cannot_be_listed(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> None:
        raise PortAudioError("PortAudio not initialized", -10000)

    install(monkeypatch, [])
    monkeypatch.setattr(sys.modules["sounddevice"], "query_devices", refuse)
    with pytest.raises(SourceError, match=r"cannot be listed: PortAudio not initialized\.$"):
        inputs()


def test_rates_out_of_range() -> None:
    with pytest.raises(SourceError, match="a rate of 4000 Hz is outside 8000 to 192000"):
        open_microphone(rate_hz=4_000)


def test_no_output_for_beeps(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(**_: Any) -> None:
        raise PortAudioError("Error querying device -1")

    install(monkeypatch, [], OutputStream=refuse)
    with pytest.raises(SourceError, match=r"no sound output takes beeps .*without --beep"):
        open_beeper()


def test_nothing_is_imported_before_it_is_needed() -> None:
    code = "import sys, beltpitch.audio.microphone; sys.exit('sounddevice' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], check=False, cwd=Path(__file__).parents[2])
    assert done.returncode == 0


# --- the stream, by a stand-in that can misbehave ------------------------------------------------


class Stream:
    """Delivers the blocks of a script; each is (level, overflow)."""

    script: tuple[tuple[float, bool], ...] = ()
    most_channels = 2
    hang = False
    ends = True

    def __init__(
        self,
        *,
        samplerate: float,
        channels: int,
        blocksize: int,
        callback: Callable[..., None],
        finished_callback: Callable[[], None],
        **_: Any,
    ) -> None:
        if channels > self.most_channels:
            raise PortAudioError("Invalid number of channels", -9998)
        self.samplerate, self.channels, self.frames = samplerate, channels, blocksize
        self.callback, self.finished = callback, finished_callback

    def start(self) -> None:
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        for level, overflow in self.script:
            samples = np.full((self.frames, self.channels), level, dtype=np.float32)
            samples[::2] *= -1
            self.callback(samples, self.frames, None, SimpleNamespace(input_overflow=overflow))
            samples[:] = 99.0  # the driver uses its buffer again
        if self.ends:
            self.finished()

    def abort(self) -> None:
        while self.hang:
            time.sleep(0.01)

    def close(self) -> None:
        pass


def play(
    monkeypatch: pytest.MonkeyPatch, script: list[tuple[float, bool]], **changed: Any
) -> type[Stream]:
    kind = type("Scripted", (Stream,), {"script": tuple(script), **changed})
    install(
        monkeypatch,
        [device("USB mic", channels=4)],
        default=0,
        InputStream=kind,
        _exit_handler=lambda: None,
    )
    return kind


def test_overflow_is_a_fact_on_the_block(monkeypatch: pytest.MonkeyPatch) -> None:
    script = [(0.1, number in (0, 20)) for number in range(30)]
    play(monkeypatch, script)
    with open_microphone() as microphone:
        marks = [next(microphone).overflow for _ in range(30)]
    # Nothing was wanted before the first block, so nothing of it is missing.
    assert [number for number, mark in enumerate(marks) if mark] == [20]


def test_all_is_delivered_before_the_end_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    play(monkeypatch, [(number / 100, False) for number in range(1, 31)])
    came: list[float] = []
    with open_microphone() as microphone:
        with pytest.raises(SourceError, match="USB mic was lost: it has stopped delivering"):
            came.extend(float(block.samples[1]) for block in microphone)
            # extend keeps what came before the error
        assert list(microphone) == []
    assert came == pytest.approx([number / 100 for number in range(1, 31)])


def test_closing_ends_the_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    play(monkeypatch, [(0.1, False)] * 40)
    with open_microphone() as microphone:
        next(microphone)
    assert list(microphone) == []


def test_blocks_that_nobody_takes_are_dropped_and_marked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "WAITING_S", 0.5)  # 25 blocks
    play(monkeypatch, [(0.1, False)] * 15, ends=False)  # just the opening
    block, fine = np.zeros((960, 2), dtype=np.float32), SimpleNamespace(input_overflow=False)
    with open_microphone() as microphone:
        for _ in range(40):
            microphone._callback(block, 960, None, fine)
        kept = [next(microphone).overflow for _ in range(15 + 26)]
        assert not any(kept)
        microphone._callback(block, 960, None, fine)
        assert next(microphone).overflow
        microphone._callback(block, 960, None, fine)
        assert not next(microphone).overflow


def test_an_input_without_two_channels(monkeypatch: pytest.MonkeyPatch) -> None:
    play(monkeypatch, [(0.1, False)] * 20, most_channels=1)
    with open_microphone() as microphone:
        assert microphone.channel_note is None


def test_an_input_that_never_starts(monkeypatch: pytest.MonkeyPatch) -> None:
    play(monkeypatch, [(0.1, False)] * 3)  # less than the opening, then the end
    with pytest.raises(SourceError, match="USB mic delivers nothing"):
        open_microphone()


def test_a_driver_that_hangs_is_left_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    kind = play(monkeypatch, [(0.1, False)] * 20, hang=True)
    monkeypatch.setattr(module, "_CLOSING_S", 0.05)
    with open_microphone() as microphone:
        next(microphone)
    kind.hang = False  # lets the thread go
    assert list(microphone) == []


def test_digital_silence_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    play(monkeypatch, [(0.0, False)] * 20)
    with open_microphone() as microphone:
        assert any("digital silence" in said for said in microphone.warnings)


# --- several channels ----------------------------------------------------------------------------

CHANCE = np.random.default_rng(4)
ROOM = CHANCE.normal(0.0, 0.01, 14_400)


@pytest.mark.parametrize(
    ("channels", "weights", "note"),
    [
        ([ROOM], [1.0], None),
        ([ROOM, ROOM], [0.5, 0.5], "mean of 2 channels"),
        ([ROOM, CHANCE.normal(0.0, 0.01, 14_400)], [0.5, 0.5], "mean of 2 channels"),
        ([ROOM, -0.5 * ROOM], [1.0, 0.0], "channel 1 of 2: the others are silent or opposite"),
        ([0.0 * ROOM + 0.2, ROOM], [0.0, 1.0], "channel 2 of 2: the others are silent or opposite"),
        ([0.0 * ROOM, 0.0 * ROOM], [0.5, 0.5], "mean of 2 channels"),
        (
            [ROOM, 0.0 * ROOM, ROOM],
            [0.5, 0.0, 0.5],
            "mean of 2 of 3 channels: the others are silent or opposite",
        ),
    ],
)
def test_mix(channels: list[Any], weights: list[float], note: str | None) -> None:
    found, said = module._mix(np.stack(channels, axis=1).astype(np.float32))
    assert (found.tolist(), said) == (weights, note)


@pytest.mark.parametrize("answer", ["taken", "refused"])
def test_beeps_are_soft_and_short(answer: str) -> None:
    beep = module._beep(answer)
    assert 0.1 * 48_000 < len(beep) < 0.3 * 48_000
    assert np.abs(beep).max() <= 0.3
    assert np.abs(np.diff(beep)).max() < 0.06  # no click: 2 pi 1320 / 48000 * 0.3 is 0.052


class Output:
    """Takes what is played at once, as long as the callback gives it."""

    latency = 0.02

    def __init__(self, *, callback: Callable[..., None], **_: Any) -> None:
        self.callback = callback
        self.played: list[Any] = []
        self.closed = False

    def start(self) -> None:
        import sounddevice

        while True:
            block = np.full((512, 1), 9.0, dtype=np.float32)
            try:
                self.callback(block, 512, None, None)
            except sounddevice.CallbackStop:
                return
            finally:
                self.played.append(block)

    def abort(self) -> None:
        self.played.clear()

    def close(self) -> None:
        self.closed = True


class CallbackStop(Exception):
    """Stands in for sounddevice's."""


def until_begun(beeper: module.Beeper) -> None:
    for _ in range(500):
        if beeper._waiting_since_s is None:
            return
        time.sleep(0.01)
    raise AssertionError("no beep was begun")


def test_a_beep_is_played_whole_with_silence_behind_it(monkeypatch: pytest.MonkeyPatch) -> None:
    install(monkeypatch, [], OutputStream=Output, CallbackStop=CallbackStop)
    monkeypatch.setattr(module, "_BEEP_TAIL_S", 0.1)
    with open_beeper() as beeper:
        heard = [beeper.sounding]
        beeper.play("refused")
        heard.append(beeper.sounding)
        until_begun(beeper)
        stream: Any = beeper._stream
        played = np.concatenate(stream.played)[:, 0]
        beep = module._beep("refused")
        time.sleep(len(beep) / 48_000 + 0.02 + 0.15)
        heard.append(beeper.sounding)
    np.testing.assert_allclose(played[: len(beep)], beep, atol=1e-7)
    assert not played[len(beep) :].any()
    assert len(played) >= len(beep) + 0.4 * 48_000
    assert heard == [False, True, False]
    assert stream.closed


def test_a_dead_output_holds_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    """The driver never answers; whoever plays and closes goes on, and hears again."""
    for_ever = threading.Event()

    class Hanging(Output):
        def start(self) -> None:
            for_ever.wait(30.0)

        def close(self) -> None:
            for_ever.wait(30.0)

    install(
        monkeypatch,
        [],
        OutputStream=Hanging,
        CallbackStop=CallbackStop,
        _exit_handler=lambda: None,
    )
    monkeypatch.setattr(module, "BEEP_START_S", 0.2)
    monkeypatch.setattr(module, "_CLOSING_S", 0.2)
    with open_beeper() as beeper:
        beeper.play("taken")
        assert (beeper.sounding, beeper.lost) == (True, False)
        time.sleep(0.3)
        assert (beeper.sounding, beeper.lost) == (False, True)
        beeper.play("refused")
        assert (beeper.sounding, beeper.lost) == (False, True)
    assert not for_ever.is_set()
    for_ever.set()


def test_an_output_that_fails_is_lost_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    class Failing(Output):
        def start(self) -> None:
            raise PortAudioError("Unanticipated host error")

    install(monkeypatch, [], OutputStream=Failing, CallbackStop=CallbackStop)
    with open_beeper() as beeper:
        beeper.play("taken")
        beeper._player.join(10.0)
        assert (beeper.sounding, beeper.lost) == (False, True)
