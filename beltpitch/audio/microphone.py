"""Blocks of samples from a live input, and short tones to an output.

The only file that knows sounddevice. The stream's callback copies each block to a queue and does
nothing else (sounddevice's own advice for callbacks); everything else happens where the blocks are
taken. A block before which sound was lost says so.

An input that delivers nothing for a second is lost: a watchdog, not a clock. Sound is never timed;
it is counted in samples.

Several channels are one microphone to us: their mean is taken, without the channels that are dead
and those that are another's opposite (a balanced microphone in a stereo socket), which would
cancel it. This is decided once, from the first third of a second, so that no pluck is cut by it.

Conventions: full scale is +/-1; rates in Hz.
"""

from __future__ import annotations

import atexit
import math
import queue
import sys
import threading
import time
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Literal, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Block, Samples
from beltpitch.audio.stderr_filter import Filtered, hushed
from beltpitch.errors import SourceError

STALL_S = 1.0  # an input that delivers nothing for so long is lost
START_S = 5.0  # sound servers take a second or two to wake up
OPENING_S = 0.3  # heard before the channels are chosen
BLOCK_S = 0.02  # length of a block if none is asked for
LATENCY_S = 0.1  # of the driver's buffer: room for a busy machine, no delay to a block
WAITING_S = 60.0  # blocks that nobody takes are kept so long, then dropped and marked
MOST_CHANNELS = 2  # asked for first: more on one input are sockets of a mixing desk
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 192_000

_DEAD_DB = -100.0  # below one step of 16 bits: nothing is connected
_OPPOSITE = -0.5  # correlation of two channels below which their mean would cancel
_POLL_S = 0.1  # a wait that is short enough for Ctrl-C on every system
BEEP_START_S = 1.0  # an output that has not begun to beep by then is lost
_CLOSING_S = 1.0  # a driver that hangs is left behind after this time

# Words in names of inputs, as drivers commonly write them.
_LOOPBACKS = ("monitor", "loopback", "stereo mix", "what u hear", "blackhole", "soundflower")
_BLUETOOTH = ("bluetooth", "bluez", "airpods", "hands-free", "handsfree", "hfp")
_BLUETOOTH_RATES_HZ = (8_000, 16_000)  # the two of the hands-free profile

_NO_LIBRARY = {
    "linux": "on Debian or Ubuntu: sudo apt install libportaudio2.",
    "darwin": "install the package again: python -m pip install --force-reinstall sounddevice.",
    "win32": "install the package again: python -m pip install --force-reinstall sounddevice.",
}
_NO_INPUT = {
    "linux": "plug in a microphone and see that the sound server runs (pactl info); on Debian or "
    "Ubuntu it also needs libasound2-plugins.",
    "darwin": "plug in a microphone, or allow it in System Settings > Privacy & Security > "
    "Microphone.",
    "win32": "plug in a microphone, or allow it in Settings > Privacy & security > Microphone.",
}
_NOT_ALLOWED = {
    "linux": "check that no other program holds it and that it is not muted in the sound settings.",
    "darwin": "allow the terminal in System Settings > Privacy & Security > Microphone.",
    "win32": "allow desktop apps in Settings > Privacy & security > Microphone.",
}


def _fix(fixes: dict[str, str]) -> str:
    """Return the advice for this system."""
    return fixes.get(sys.platform, fixes["linux"])


# --- which inputs there are ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AudioInput:
    """One sound input.

    Parameters
    ----------
    index
        Its number, to name it by.
    name, host
        What the driver calls it, and through which sound system it is reached.
    channels
        The most it can record at once.
    rate_hz
        The rate it runs at by default.
    is_default
        True for the one that the system uses if none is named.
    """

    index: int
    name: str
    host: str
    channels: int
    rate_hz: float
    is_default: bool

    @property
    def is_loopback(self) -> bool:
        """True if the name says that it hears the computer, not the room (a guess)."""
        return any(word in self.name.lower() for word in _LOOPBACKS)

    @property
    def is_bluetooth(self) -> bool:
        """True if name or rate says that the sound comes by radio, squeezed (a guess)."""
        named = any(word in self.name.lower() for word in _BLUETOOTH)
        return named or self.rate_hz in _BLUETOOTH_RATES_HZ

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the user should know before trusting it."""
        said = []
        if self.is_loopback:
            said.append(f"{self.name} seems to hear the computer itself, not the room.")
        if self.is_bluetooth:
            said.append(
                f"{self.name} seems to be a Bluetooth input: it cuts low tones and noise away; "
                "use the built-in or a wired microphone."
            )
        return tuple(said)


def inputs() -> list[AudioInput]:
    """Return every sound input of this machine; empty if there is none.

    Raises
    ------
    SourceError
        If the PortAudio library is missing or does not start.
    """
    sounddevice = _sounddevice()
    try:
        devices, hosts = sounddevice.query_devices(), sounddevice.query_hostapis()
        default = _default_index(sounddevice)
    except sounddevice.PortAudioError as error:
        raise SourceError(f"the sound inputs cannot be listed: {_reason(error)}") from error
    return [
        AudioInput(
            index,
            str(device["name"]),
            str(hosts[device["hostapi"]]["name"]),
            int(device["max_input_channels"]),
            float(device["default_samplerate"]),
            index == default,
        )
        for index, device in enumerate(devices)
        if device["max_input_channels"] > 0
    ]


def find_input(device: int | str | None = None) -> AudioInput:
    """Return the input that is meant.

    Parameters
    ----------
    device
        Its number, a part of its name in any case, or None for the default one.

    Raises
    ------
    SourceError
        If there is none such, or several; the message lists them.
    """
    found = inputs()
    if not found:
        raise SourceError(f"this machine has no sound input: {_fix(_NO_INPUT)}")
    if device is None:
        return next((each for each in found if each.is_default), found[0])
    if isinstance(device, str) and not device.strip().isdecimal():
        return _by_name(found, device.strip())
    index = int(device)
    for each in found:
        if each.index == index:
            return each
    raise SourceError(f"there is no sound input {index}; there are {_listed(found)}.")


def _by_name(found: Sequence[AudioInput], wanted: str) -> AudioInput:
    """Return the one input with such a name; an exact name, then the default's system decide."""
    matches = [each for each in found if wanted.lower() in each.name.lower()]
    if not matches:
        raise SourceError(f"no sound input is called {wanted!r}; there are {_listed(found)}.")
    exact = [each for each in matches if each.name.lower() == wanted.lower()]
    # Windows shows one microphone once for each of its sound systems.
    usual = {each.host for each in found if each.is_default}
    for fewer in (exact, [each for each in exact or matches if each.host in usual]):
        if len(fewer) == 1:
            return fewer[0]
    if len(matches) == 1:
        return matches[0]
    raise SourceError(
        f"{wanted!r} fits {len(matches)} sound inputs: {_listed(matches)}; name one by its number."
    )


def _listed(found: Sequence[AudioInput]) -> str:
    return ", ".join(f"{each.index} ({each.name}, {each.host})" for each in found)


def _sounddevice() -> Any:
    """Import sounddevice, which starts PortAudio."""
    try:
        import sounddevice
    except (ImportError, OSError) as error:  # OSError: the library is not there
        raise SourceError(f"the PortAudio library is missing: {_fix(_NO_LIBRARY)}") from error
    except Exception as error:
        # PortAudioError, which cannot be named before the import has succeeded
        if type(error).__name__ != "PortAudioError":
            raise
        raise SourceError(f"the sound system does not start: {_reason(error)}") from error
    return sounddevice


def _default_index(sounddevice: Any) -> int:
    """Return the number of the default input; -1 if there is none."""
    try:
        return int(sounddevice.query_devices(kind="input")["index"])
    except (sounddevice.PortAudioError, ValueError):
        return -1


def _reason(error: BaseException) -> str:
    """Return what the driver had to say, in one line that ends with a full stop."""
    words = [str(part) for part in error.args if isinstance(part, str)]
    return " ".join(" ".join(words[:1]).split()).rstrip(".") + "."


def _close(stream: Any) -> None:
    """Close a stream, whatever its driver says."""
    import sounddevice

    with suppress(sounddevice.PortAudioError):
        stream.abort()
    with suppress(sounddevice.PortAudioError):
        stream.close()


def _closed_in_time(stream: Any) -> None:
    """Close a stream; if the driver hangs, leave it behind, at the end of the program too."""
    closer = threading.Thread(target=_close, args=(stream,), daemon=True)
    closer.start()
    _in_time(closer)


def _in_time(closer: threading.Thread) -> None:
    """Wait for the thread that closes a stream, but not for ever."""
    import sounddevice

    with hushed():
        closer.join(_CLOSING_S)
    if closer.is_alive():
        # PortAudio's own farewell would wait for the same driver for ever.
        atexit.unregister(sounddevice._exit_handler)


# --- the live input ------------------------------------------------------------------------------


class _Raw(NamedTuple):
    samples: NDArray[np.float32]  # shape (frames, channels)
    lost: bool  # True if sound was lost before it


class Microphone:
    """A live input: iterating gives its blocks as they come, until it is closed or lost.

    Made by `open_microphone`; to be used in a ``with`` statement.

    Attributes
    ----------
    input
        Which input it is.
    rate_hz
        Samples per second.
    channel_note
        What was made of several channels; None for one.
    warnings
        What the user should know before trusting it.
    silence
        That one of them which says that it delivers nothing but zeros yet; None if it does not.
    """

    def __init__(self, source: AudioInput, rate_hz: float | None, block_frames: int | None) -> None:
        self.input = source
        self._queue: queue.SimpleQueue[_Raw | None] = queue.SimpleQueue()
        self._came = self._went = 0  # frames; each is written by one thread only
        self._most_waiting = WAITING_S * HIGHEST_RATE_HZ  # until the rate is known
        self._dropped = False
        self._open = True
        self._filtered = Filtered()
        self._stream = self._started(rate_hz, block_frames)
        self._filtered.begin()
        self.rate_hz = float(self._stream.samplerate)
        self._most_waiting = WAITING_S * self.rate_hz
        self._held = deque(self._opening())
        self._held[0] = self._held[0]._replace(lost=False)  # nothing was wanted before it
        opening = np.concatenate([raw.samples for raw in self._held])
        self._weights, self.channel_note = _mix(opening)
        self.silence = None if opening.any() else self._silence()
        self.warnings = source.warnings + ((self.silence,) if self.silence else ())

    # --- what the user does

    def __iter__(self) -> Iterator[Block]:
        """Return itself: a live input can be heard only once."""
        return self

    def __next__(self) -> Block:
        """Wait for the next block.

        Raises
        ------
        SourceError
            If the input is lost; all that it delivered has then been handed out.
        StopIteration
            If it was closed.
        """
        if not self._open:
            raise StopIteration
        raw = self._held.popleft() if self._held else self._taken(STALL_S)
        if raw is None:
            self.close()
            raise SourceError(
                f"the sound input {self.input.name} was lost: it has stopped delivering; "
                "plug it in again and start anew."
            )
        return Block(raw.samples @ self._weights, self.rate_hz, raw.lost)

    def close(self) -> None:
        """Let go of the input; blocks not yet taken are dropped."""
        if self._open:
            self._open = False
            _closed_in_time(self._stream)
            self._filtered.end()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close."""
        self.close()

    # --- the stream

    def _callback(self, samples: NDArray[np.float32], frames: int, _: Any, status: Any) -> None:
        """Copy a block to the queue; runs in the driver's thread."""
        if self._came - self._went > self._most_waiting:
            self._dropped = True
            return
        lost, self._dropped = self._dropped or bool(status.input_overflow), False
        self._came += frames
        self._queue.put(_Raw(samples.copy(), lost))

    def _finished(self) -> None:
        """Tell the taker that nothing more will come; runs in the driver's thread."""
        self._queue.put(None)

    def _taken(self, patience_s: float) -> _Raw | None:
        """Return the next block from the queue; None if the input has fallen silent for good."""
        # Waits are counted, not the time of day: a program that was itself held up for a while
        # must not take that for the input's fault.
        for _ in range(round(patience_s / _POLL_S)):
            try:
                raw = self._queue.get(timeout=_POLL_S)
            except queue.Empty:
                continue
            if raw is not None:
                self._went += len(raw.samples)
            return raw
        return None

    def _opening(self) -> Iterator[_Raw]:
        """Yield the first blocks, so that a stream that never starts is told from one that does."""
        frames = 0
        while frames < OPENING_S * self.rate_hz:
            raw = self._taken(STALL_S if frames else START_S)
            if raw is None:
                self.close()
                raise SourceError(
                    f"the sound input {self.input.name} delivers nothing: {_fix(_NOT_ALLOWED)}"
                )
            frames += len(raw.samples)
            yield raw

    def _started(self, rate_hz: float | None, block_frames: int | None) -> Any:
        """Open the stream with the first settings that the input takes."""
        sounddevice = _sounddevice()
        most = self.input.channels
        counts = sorted({min(most, MOST_CHANNELS), most, 1}, key=lambda n: n != MOST_CHANNELS)
        said = ""
        usual = [
            rate
            for rate in (self.input.rate_hz, 48_000, 44_100)
            if LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ
        ]
        for rate in usual if rate_hz is None else [rate_hz]:
            for channels in counts:
                try:
                    return self._stream_of(sounddevice, rate, channels, block_frames)
                except sounddevice.PortAudioError as error:
                    said = said or _reason(error)
        wanted = "" if rate_hz is None else f" at {rate_hz:g} Hz"
        raise SourceError(
            f"the sound input {self.input.name} cannot be opened{wanted} ({said.rstrip('.')}): "
            + _fix(_NOT_ALLOWED)
        )

    def _stream_of(
        self, sounddevice: Any, rate_hz: float, channels: int, block_frames: int | None
    ) -> Any:
        with hushed():
            stream = sounddevice.InputStream(
                device=self.input.index,
                samplerate=rate_hz,
                channels=channels,
                blocksize=round(BLOCK_S * rate_hz) if block_frames is None else block_frames,
                latency=LATENCY_S,
                dtype="float32",
                callback=self._callback,
                finished_callback=self._finished,
            )
            try:
                stream.start()
            except sounddevice.PortAudioError:
                stream.close()
                raise
        return stream

    def _silence(self) -> str:
        """Return what is said of an input that is muted, or withheld by the system."""
        return f"{self.input.name} delivers digital silence: {_fix(_NOT_ALLOWED)}"


def open_microphone(
    device: int | str | None = None, rate_hz: float | None = None, block_frames: int | None = None
) -> Microphone:
    """Open a live input and wait until sound flows.

    Parameters
    ----------
    device
        Number of the input, a part of its name, or None for the default one.
    rate_hz
        Samples per second, 8000 to 192000; by default what the input runs at.
    block_frames
        Length of a block; by default a fiftieth of a second, 0 leaves it to the driver.

    Raises
    ------
    SourceError
        If there is no such input or it cannot be heard; one line says why and what helps here.
    """
    if rate_hz is not None and not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise SourceError(
            f"a rate of {rate_hz:g} Hz is outside {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ}; "
            "leave it out, or ask for 48000."
        )
    return Microphone(find_input(device), rate_hz, block_frames)


def _mix(opening: NDArray[np.float32]) -> tuple[NDArray[np.float64], str | None]:
    """Return the share of each channel in the sound that is used, and what was done in words.

    Parameters
    ----------
    opening
        The first sound, shape (frames, channels).
    """
    count = opening.shape[1]
    if count == 1:
        return np.ones(1), None
    sound = opening.astype(np.float64)
    sound -= sound.mean(axis=0)
    power = np.mean(sound**2, axis=0)
    used = power > 10.0 ** (_DEAD_DB / 10)
    if not used.any():
        used[:] = True  # all silent: one may wake up
    leader = int(np.argmax(np.where(used, power, -1.0)))
    scale = np.sqrt(np.maximum(power * power[leader], np.finfo(np.float64).tiny))
    used &= sound.T @ sound[:, leader] / len(sound) / scale > _OPPOSITE
    used[leader] = True
    kept = int(np.count_nonzero(used))
    note = f"mean of {count} channels"
    if kept < count:
        note = f"mean of {kept} of {count} channels: the others are silent or opposite"
    if kept == 1:
        note = f"channel {leader + 1} of {count}: the others are silent or opposite"
    return used / kept, note


# --- short tones ---------------------------------------------------------------------------------

_BEEP_RATE_HZ = 48_000
_BEEP_LEVEL = 0.3
_BEEP_TAIL_S = 0.2  # the room answers for about this long, and blocks arrive late by some of it
_BEEP_PAD_S = 0.4  # silence behind it: some sound servers drop what they hold when a stream ends
_BEEP_EDGE_S = 0.005  # softened, else each end is a click
# For each answer its tones: frequency in Hz (0: a pause) and length in s. Told apart by rhythm.
_BEEPS: dict[str, tuple[tuple[float, float], ...]] = {
    "taken": ((1_320.0, 0.12),),
    "refused": ((880.0, 0.08), (0.0, 0.06), (880.0, 0.08)),
}


class Beeper:
    """Answers a pluck by a short tone: one beep for taken, two lower ones for refused.

    Made by `open_beeper`; to be used in a ``with`` statement. Whoever listens meanwhile should
    pass over the blocks that come while it is `sounding`.

    A dead output may hold whoever asks it to begin or end, for ever. So a thread of its own does
    the asking: `play` returns at once, and an output that has not begun after `BEEP_START_S` is
    given up.
    """

    def __init__(self, stream_of: Any) -> None:
        self._rest: Samples = np.zeros(0)
        self._quiet_at_s = -math.inf
        self._asked: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._waiting_since_s: float | None = None  # for the output to begin
        self._stream = stream_of(self._callback)
        self._filtered = Filtered()
        self._filtered.begin()
        self._player = threading.Thread(target=self._play_all, daemon=True)
        self._player.start()

    def play(self, answer: Literal["taken", "refused"]) -> None:
        """Begin to beep and return at once; a beep still sounding is cut off."""
        if not self.lost and self._waiting_since_s is None:
            self._waiting_since_s = time.monotonic()
            self._asked.put(answer)

    def _play_all(self) -> None:
        """Begin one beep after the other, then close; runs in a thread of its own.

        Closed here and not by the other thread: PortAudio ends the program if a stream is closed
        while it is being begun, which takes a second where the sound server has just died.
        """
        import sounddevice

        try:
            while (answer := self._asked.get()) is not None:
                self._play(answer)
                self._waiting_since_s = None
        except sounddevice.PortAudioError:  # the output is gone, and stays so
            self._waiting_since_s = -math.inf
        _close(self._stream)

    def _play(self, answer: str) -> None:
        self._stream.abort()
        beep = _beep(answer)
        self._rest = np.concatenate([beep, np.zeros(round(_BEEP_PAD_S * _BEEP_RATE_HZ))])
        self._stream.start()
        length_s = len(beep) / _BEEP_RATE_HZ + float(self._stream.latency)
        self._quiet_at_s = time.monotonic() + length_s + _BEEP_TAIL_S

    @property
    def lost(self) -> bool:
        """True if the output does not answer any more."""
        since_s = self._waiting_since_s
        return since_s is not None and time.monotonic() - since_s > BEEP_START_S

    @property
    def sounding(self) -> bool:
        """True while a beep, or the room's answer to it, can be heard, or is about to be."""
        if self._waiting_since_s is not None:
            return not self.lost
        return time.monotonic() < self._quiet_at_s

    def close(self) -> None:
        """Let go of the output."""
        self._asked.put(None)
        _in_time(self._player)
        self._filtered.end()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close."""
        self.close()

    def _callback(self, samples: NDArray[np.float32], frames: int, _: Any, __: Any) -> None:
        """Hand out the next part of the beep; runs in the driver's thread."""
        import sounddevice

        part, self._rest = self._rest[:frames], self._rest[frames:]
        samples[:] = 0.0
        samples[: len(part), 0] = part
        if not len(self._rest):
            raise sounddevice.CallbackStop


def open_beeper() -> Beeper:
    """Open the default sound output for beeps.

    Raises
    ------
    SourceError
        If there is no output that takes them.
    """
    sounddevice = _sounddevice()

    def stream_of(callback: Any) -> Any:
        with hushed():
            return sounddevice.OutputStream(
                samplerate=_BEEP_RATE_HZ,
                channels=1,
                latency=LATENCY_S,
                dtype="float32",
                callback=callback,
            )

    try:
        return Beeper(stream_of)
    except (sounddevice.PortAudioError, ValueError) as error:
        raise SourceError(
            f"no sound output takes beeps ({_reason(error).rstrip('.')}): go on without --beep."
        ) from error


def _beep(answer: str) -> Samples:
    """Return the samples of an answer."""
    parts = []
    for hertz, seconds in _BEEPS[answer]:
        time_s = np.arange(round(seconds * _BEEP_RATE_HZ)) / _BEEP_RATE_HZ
        edge = np.minimum(np.minimum(time_s, seconds - time_s) / _BEEP_EDGE_S, 1.0)
        parts.append(_BEEP_LEVEL * edge * np.sin(2 * np.pi * hertz * time_s))
    return np.concatenate(parts)
