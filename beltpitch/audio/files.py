"""Blocks of samples from a sound file, and sound kept as a file.

Method: libsndfile reads what it knows (WAV, FLAC, AIFF, Ogg ...); the rest (phone recordings, MP3,
the sound of a video) goes through FFmpeg's libraries by PyAV. A file is read twice: once to learn
what is really in it (length, levels, damage), once for its blocks; so memory stays bounded, and
what a header claims is never believed.

Of several channels the one is taken in which the loudest quarter second stands highest above the
quiet parts: the pluck against the room. A dead channel is never taken over a live one, a clipped
one only if it is better by far.

Conventions: full scale is +/-1; a chunk has shape (frames, channels), a block (frames,).
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Block, Samples
from beltpitch.errors import RequestError, SourceError

LOWEST_RATE_HZ = 8_000  # telephone
HIGHEST_RATE_HZ = 192_000  # the fastest of common sound cards

BLOCK_FRAMES = 16_384  # a third of a second at 48 kHz
_READ_FRAMES = 4_096  # one FLAC frame: no more is lost where a file breaks off
_READ_VALUES = 1 << 18  # the most numbers in one read, however many channels a header claims

_MOST_VALUE = 1e9  # beyond this a float is no sound level, and its square may overflow
_GAP_S = 0.02  # time stamps of containers are good to some milliseconds
_SHORT_S = 0.1  # lengths in headers of packed formats are rounded to packets

# Formats that FFmpeg may open: sound and video that live in one file. Playlists, which would open
# further files or addresses, are not among them.
_AV_FORMATS = (
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,ogg,aac,mp3,wav,w64,flac,aiff,caf,amr,avi,asf,mpegts,"
    "mpeg,flv"
)


@dataclass(frozen=True, slots=True)
class Recording:
    """A sound file, ready to be read: iterating gives its blocks, as often as wanted.

    Made by `open_recording`; holds no open file between iterations. Iterating raises SourceError
    if the file has gone in the meantime.

    Parameters
    ----------
    path
        The file.
    rate_hz
        Samples per second.
    frames
        How many samples of one channel were found, whatever the header claims.
    channels, channel
        How many channels there are, and which one the blocks hold, counted from 0.
    channel_note
        Which channel of several is used and why; None for a mono file.
    warnings
        What the user should know although the file could be read.
    """

    path: Path
    rate_hz: float
    frames: int
    channels: int
    channel: int
    channel_note: str | None
    warnings: tuple[str, ...]

    @property
    def name(self) -> str:
        """Name of the file without its folder."""
        return self.path.name

    @property
    def duration_s(self) -> float:
        """Length of the sound that was found."""
        return self.frames / self.rate_hz

    def __iter__(self) -> Iterator[Block]:
        """Yield the blocks of the chosen channel, in order, in bounded memory."""
        left = self.frames
        for chunk in _gathered(_decoded(self.path, [])):
            samples = chunk.samples[:left, self.channel]
            left -= len(samples)
            if len(samples):
                yield Block(samples, self.rate_hz, chunk.lost)


def open_recording(path: str | os.PathLike[str]) -> Recording:
    """Open a sound file, or the sound of a video, and find out what is in it.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    SourceError
        If there is no such file, or it holds no sound that can be measured; one line says which.
    """
    file = Path(path)
    _check_is_file(file)
    warnings: list[str] = []
    survey = None
    for chunk in _gathered(_decoded(file, warnings)):
        if survey is None:
            survey = _Survey(file.name, chunk, warnings)
        survey.add(chunk)
    if survey is None:
        raise SourceError(
            f"{file.name} holds no samples: the recording was never made or was cut off at once; "
            "record it again."
        )
    return survey.recording(file)


def save_sound(
    path: str | os.PathLike[str], samples: Samples, rate_hz: float, *, overwrite: bool = False
) -> None:
    """Write one channel of sound, whole or not at all.

    FLAC is written with 24 bits (values beyond full scale are clipped), WAV as 32-bit float. The
    file appears under its name only when complete.

    Parameters
    ----------
    path
        Where to; the suffix, ``.flac`` or ``.wav``, says which format.
    samples
        Shape (frames,), finite, full scale +/-1.
    rate_hz
        Samples per second, a whole number.
    overwrite
        Replace a file of that name.

    Raises
    ------
    RequestError
        If the suffix is another, the file exists or cannot be written.
    ValueError
        If the samples or the rate cannot be kept in a sound file.
    """
    file = Path(path)
    formats = {".flac": ("FLAC", "PCM_24"), ".wav": ("WAV", "FLOAT")}
    if file.suffix.lower() not in formats:
        raise RequestError(f"{file.name}: sound is written as .flac or .wav; use one of these.")
    if samples.ndim != 1 or not np.isfinite(samples).all():
        raise ValueError(f"samples must be finite and of shape (frames,), got {samples.shape}")
    if not (rate_hz > 0 and float(rate_hz).is_integer()):
        raise ValueError(f"rate is {rate_hz} Hz, a sound file needs a whole number above 0")
    if file.exists() and not overwrite:
        raise RequestError(f"{file} exists and was left as it is; choose another name.")
    _write_whole(file, samples, int(rate_hz), *formats[file.suffix.lower()])


def _write_whole(file: Path, samples: Samples, rate_hz: int, kind: str, subtype: str) -> None:
    soundfile = _soundfile()

    part = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        soundfile.write(part, samples, rate_hz, format=kind, subtype=subtype)
        part.replace(file)
    except (OSError, soundfile.SoundFileError) as error:
        raise RequestError(f"{file} cannot be written: {_reason(error)}") from error
    finally:
        part.unlink(missing_ok=True)


# --- the file ------------------------------------------------------------------------------------


def _check_is_file(file: Path) -> None:
    """Refuse what is no file to read from, in the words of a person looking for it."""
    try:
        if not file.exists():
            raise SourceError(f"{file}: no such file; check the name and the folder.")
        if file.is_dir():
            raise SourceError(f"{file} is a folder; name the sound file in it.")
        if not file.is_file():
            raise SourceError(f"{file} is not a file; record into a sound file first.")
        if file.stat().st_size == 0:
            raise SourceError(f"{file.name} is empty (0 bytes); record it again.")
        with file.open("rb"):
            pass
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        raise SourceError(f"{file} cannot be read: {_reason(error)}") from error


def _reason(error: BaseException) -> str:
    """Say in one line what the system or a decoder had to say, without its numbers and paths."""
    text = getattr(error, "error_string", None) or getattr(error, "strerror", None) or str(error)
    return " ".join(str(text).split()).rstrip(".") + "."


# --- decoding: chunks of all channels ------------------------------------------------------------


class _Chunk(NamedTuple):
    samples: NDArray[np.float64]  # shape (frames, channels)
    rate_hz: int
    lost: bool  # True if sound is missing before this chunk


def _decoded(file: Path, warnings: list[str]) -> Iterator[_Chunk]:
    """Yield the chunks of a file by the decoder that knows it; say in `warnings` what was amiss."""
    source = None if _looks_like_mpeg(file) else _known_to_libsndfile(file)
    if source is None:
        yield from _by_ffmpeg(file, warnings)
        return
    with source:
        yield from _by_libsndfile(file, source, warnings)


def _known_to_libsndfile(file: Path) -> Any | None:
    """Open a file with libsndfile; None if FFmpeg should try.

    FFmpeg finds the sound in a WAV file whose recorder was cut off before it wrote the length.
    """
    soundfile = _soundfile()

    try:
        source = soundfile.SoundFile(file)
    except (soundfile.SoundFileError, TypeError):  # TypeError: .raw, which says no rate
        return None
    if source.frames == 0 or source.format == "MP3":
        source.close()
        return None
    return source


def _looks_like_mpeg(file: Path) -> bool:
    """Tell MP3 and bare AAC by their first bytes: libsndfile's own MP3 reader writes to stderr."""
    try:
        with file.open("rb") as raw:
            head = raw.read(3)
    except OSError as error:
        raise SourceError(f"{file} cannot be read: {_reason(error)}") from error
    sync = int.from_bytes(head[:2], "big") & 0xFFE0  # eleven set bits open a frame
    return head == b"ID3" or sync == 0xFFE0  # noqa: PLR2004


def _by_libsndfile(file: Path, source: Any, warnings: list[str]) -> Iterator[_Chunk]:
    soundfile = _soundfile()

    frames = min(_READ_FRAMES, max(1, _READ_VALUES // source.channels))
    found = 0
    while True:
        try:
            samples = source.read(frames, dtype="float64", always_2d=True)
        except soundfile.SoundFileError:
            warnings.append(_damaged(file, found, source.samplerate))
            return
        if not len(samples):
            break
        found += len(samples)
        yield _Chunk(samples, source.samplerate, lost=False)
    if "lacks an end-of-stream bit" in source.extra_info:  # libsndfile's word on a cut Ogg file
        warnings.append(_damaged(file, found, source.samplerate))
    claimed = max(source.frames, _claimed_in_log(file, source, found))
    if claimed - found > _SHORT_S * source.samplerate:
        warnings.append(_cut_short(file, claimed, found, source.samplerate))


def _claimed_in_log(file: Path, source: Any, found: int) -> int:
    """Return the frames that the header claims, from libsndfile's log.

    libsndfile silently corrects a data length that reaches beyond the end of the file, but logs
    the bytes it read there.
    """
    size = file.stat().st_size
    match = re.search(r"^\s*(?:data|Data size|SSND)\s*:\s*(\d+)", source.extra_info, re.MULTILINE)
    claimed_bytes = int(match.group(1)) if match else 0
    return round(found * claimed_bytes / size) if claimed_bytes > size else 0


def _by_ffmpeg(file: Path, warnings: list[str]) -> Iterator[_Chunk]:
    av = _av()

    try:
        # "file:" so that no name is taken for an address.
        container = av.open(
            f"file:{file.absolute()}",
            options={"format_whitelist": _AV_FORMATS},
            **_tags_as_they_are(),
        )
    except (av.FFmpegError, ValueError) as error:
        raise SourceError(
            f"{file.name} is no sound that can be read ({_reason(error)[:-1]}); "
            "save the recording as WAV, FLAC, MP3 or M4A."
        ) from error
    with container:
        stream = next(iter(container.streams.audio), None)
        if stream is None:
            raise SourceError(f"{file.name} has no sound in it; record with the sound on.")
        yield from _by_stream(file, container, stream, warnings)


def _tags_as_they_are() -> dict[str, Any]:
    """Return what PyAV must be told so that tags that are no UTF-8 do not keep a file shut.

    From version 19 on it takes them by itself, and refuses the option.
    """
    av = _av()

    return {"metadata_errors": "ignore"} if int(av.__version__.split(".")[0]) < 19 else {}  # noqa: PLR2004


def _by_stream(file: Path, container: Any, stream: Any, warnings: list[str]) -> Iterator[_Chunk]:
    """Yield the chunks of one stream; a packet that cannot be decoded counts as lost sound."""
    first: _Chunk | None = None
    found = 0
    for chunk in _frames(container, stream):
        first = first or chunk
        if chunk.rate_hz != first.rate_hz or chunk.samples.shape[1] != first.samples.shape[1]:
            warnings.append(
                f"{file.name} changes its sampling rate or channels after "
                f"{found / first.rate_hz:.2f} s: only the part before was read."
            )
            return
        found += len(chunk.samples)
        yield chunk
    if first is None:
        return
    claimed = _claimed_s(container, stream) * first.rate_hz
    if claimed - found > _SHORT_S * first.rate_hz:
        warnings.append(_cut_short(file, round(claimed), found, first.rate_hz))


def _frames(container: Any, stream: Any) -> Iterator[_Chunk]:
    """Yield every decoded frame of a stream as a chunk, marked where sound is missing before it."""
    av = _av()

    broken = False
    end_s: float | None = None
    for packet in _packets(container, stream):
        try:
            frames = [
                (each.time, each.sample_rate or 0, _as_float(each)) for each in packet.decode()
            ]
        except (av.FFmpegError, ValueError):  # ValueError: a sample format NumPy does not have
            broken = True
            continue
        for start_s, rate_hz, samples in frames:
            gap = end_s is not None and start_s is not None and start_s - end_s > _GAP_S
            yield _Chunk(samples, rate_hz, lost=broken or gap)
            broken = False
            start_s = end_s if start_s is None else start_s
            end_s = start_s + len(samples) / rate_hz if start_s is not None and rate_hz else None


def _packets(container: Any, stream: Any) -> Iterator[Any]:
    """Yield packets until the file ends or breaks off."""
    av = _av()

    demuxed = container.demux(stream)
    while True:
        try:
            packet = next(demuxed, None)
        except (av.FFmpegError, ValueError, IndexError):  # IndexError: a stream out of nowhere
            return
        if packet is None:
            return
        yield packet


def _as_float(frame: Any) -> NDArray[np.float64]:
    """Return the samples of a decoded frame, shape (frames, channels), full scale +/-1."""
    raw: NDArray[Any] = frame.to_ndarray()
    channels = frame.layout.nb_channels
    samples = raw.T if frame.format.is_planar else raw.reshape(-1, channels)
    if samples.dtype.kind == "f":
        return samples.astype(np.float64)
    whole = float(np.iinfo(samples.dtype).max) + 1.0
    if samples.dtype.kind == "u":  # unsigned: the middle is zero
        return samples.astype(np.float64) / (whole / 2) - 1.0
    return samples.astype(np.float64) / whole


def _claimed_s(container: Any, stream: Any) -> float:
    """Return the length that the container claims for the sound; 0 if it claims none.

    A video may be longer than its sound, so the container's own length serves only where the
    sound stands alone.
    """
    av = _av()

    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    if container.duration is not None and len(container.streams) == 1:
        return float(container.duration / av.time_base)
    return 0.0


def _cut_short(file: Path, claimed: int, found: int, rate_hz: int) -> str:
    return (
        f"{file.name} claims {_length(claimed / rate_hz)} of sound but holds "
        f"{_length(found / rate_hz)}: what is there was read."
    )


def _damaged(file: Path, found: int, rate_hz: int) -> str:
    return f"{file.name} is damaged after {_length(found / rate_hz)}: what comes before was read."


def _length(seconds: float) -> str:
    """Write a length of time for a person: seconds, or hours where there are many."""
    hour = 3600.0
    return f"{seconds / hour:.1f} h" if seconds > hour else f"{seconds:.2f} s"


def _gathered(chunks: Iterator[_Chunk]) -> Iterator[_Chunk]:
    """Join small chunks to blocks of about BLOCK_FRAMES, never across a place where sound is lost.

    Joining also stops where the number of values reaches the bound of one read.
    """
    held: list[_Chunk] = []
    frames = values = 0
    for chunk in chunks:
        if held and (chunk.lost or frames >= BLOCK_FRAMES or values >= _READ_VALUES):
            yield _joined(held)
            held, frames, values = [], 0, 0
        held.append(chunk)
        frames += len(chunk.samples)
        values += chunk.samples.size
    if frames:
        yield _joined(held)


def _joined(held: list[_Chunk]) -> _Chunk:
    samples = np.concatenate([chunk.samples for chunk in held])
    return _Chunk(samples, held[0].rate_hz, held[0].lost)


# --- the first reading: what is there ------------------------------------------------------------


class _Survey:
    """What the first reading finds: rate, length, levels, warnings; refuses what is no sound."""

    def __init__(self, name: str, first: _Chunk, warnings: list[str]) -> None:
        if not LOWEST_RATE_HZ <= first.rate_hz <= HIGHEST_RATE_HZ:
            raise SourceError(
                f"{name} has {first.rate_hz} samples a second, outside {LOWEST_RATE_HZ} to "
                f"{HIGHEST_RATE_HZ}; record at 44100 or 48000."
            )
        self.name = name
        self.rate_hz = first.rate_hz
        self.frames = 0
        self.levels = _Levels(first.samples.shape[1], first.rate_hz)
        self.warnings = warnings
        self.lost_s: list[float] = []

    def add(self, chunk: _Chunk) -> None:
        """Take in the next chunk."""
        within = np.abs(chunk.samples) <= _MOST_VALUE  # False for NaN too
        if not within.all():
            at_s = (self.frames + int(np.argmin(within.all(axis=1)))) / self.rate_hz
            raise SourceError(
                f"{self.name} holds values that are no sound (NaN, infinite or beyond 1e9) at "
                f"{at_s:.2f} s; save the recording again with 16 or 24 bits."
            )
        if chunk.lost:
            self.lost_s.append(self.frames / self.rate_hz)
        self.frames += len(chunk.samples)
        self.levels.add(chunk.samples)

    def recording(self, file: Path) -> Recording:
        """Put together what was found."""
        warnings = list(self.warnings)
        if self.lost_s:
            more = f" and at {len(self.lost_s) - 1} more places" if len(self.lost_s) > 1 else ""
            warnings.append(f"{self.name}: sound is missing at {self.lost_s[0]:.2f} s{more}.")
        channel, note = self.levels.best()
        rate_hz, channels = float(self.rate_hz), self.levels.channels
        return Recording(file, rate_hz, self.frames, channels, channel, note, tuple(warnings))


_SPELL_S = 0.05  # levels are taken over spells of this length: one period of 20 Hz
_LOUD_SPELLS = 5  # a pluck is loud for a quarter second at least; one click is not enough
_QUIET_SHARE = 0.2  # the room is heard in the quietest fifth
_DEAD_DB = -85.0  # an input that is not connected stays below this
_FLOOR_DB, _TOP_DB = -100, 200  # 16 bits reach down to -98 dB; no level passes _MOST_VALUE
_CLIPPED = 0.99  # of full scale: the last step but one of 8 bits
_CLIPPED_SHARE = 1e-4  # some milliseconds of a few seconds
_CLIPPED_COSTS_DB = 20.0  # clipped plucks lose their start, quiet ones drown
_ALIKE_DB = 0.5  # less difference than this is no reason to prefer a channel


class _Levels:
    """Levels of each channel, counted in steps of 1 dB: bounded, however long the sound."""

    def __init__(self, channels: int, rate_hz: int) -> None:
        self.channels = channels
        self._spell = max(1, round(_SPELL_S * rate_hz))
        self._counts = np.zeros((channels, _TOP_DB - _FLOOR_DB + 1), dtype=np.int64)
        self._clipped = np.zeros(channels, dtype=np.int64)
        self._frames = 0
        self._rest = np.zeros((0, channels))

    def add(self, samples: NDArray[np.float64]) -> None:
        """Count the levels of a chunk of shape (frames, channels)."""
        if self.channels == 1:
            return  # nothing to choose
        self._frames += len(samples)
        self._clipped += np.count_nonzero(np.abs(samples) >= _CLIPPED, axis=0)
        joined = np.concatenate([self._rest, samples])
        whole = len(joined) // self._spell * self._spell
        self._count(joined[:whole].reshape(-1, self._spell, self.channels))
        self._rest = joined[whole:]

    def _count(self, spells: NDArray[np.float64]) -> None:
        power = np.maximum(spells.var(axis=1), 10.0 ** (_FLOOR_DB / 10))
        steps = np.rint(10.0 * np.log10(power)).astype(np.int64) - _FLOOR_DB
        for channel in range(self.channels):
            self._counts[channel] += np.bincount(steps[:, channel], minlength=self._counts.shape[1])

    def best(self) -> tuple[int, str | None]:
        """Return the channel to use, from 0, and why in words; no words for a mono file."""
        if self.channels == 1:
            return 0, None
        if len(self._rest):
            self._count(self._rest[np.newaxis])
        loud, quiet = self._levels()
        clipped = self._clipped > _CLIPPED_SHARE * self._frames
        dead = loud < _DEAD_DB
        merit = loud - quiet - _CLIPPED_COSTS_DB * clipped
        merit[dead] = -math.inf
        # The first one that comes near the best: like channels leave it at the left.
        chosen = 0 if dead.all() else int(np.argmax(merit >= merit.max() - _ALIKE_DB))
        why = _why(chosen, loud - quiet, clipped, dead)
        return chosen, f"{_channel_name(chosen, self.channels)} of {self.channels}: {why}"

    def _levels(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the loud and the quiet level of each channel in dB of full scale."""
        rising = np.cumsum(self._counts, axis=1)
        spells = rising[0, -1]
        loud_rank = max(spells - _LOUD_SPELLS + 1, 1)
        quiet_rank = max(_QUIET_SHARE * spells, 1)
        loud = np.argmax(rising >= loud_rank, axis=1) + _FLOOR_DB
        quiet = np.argmax(rising >= quiet_rank, axis=1) + _FLOOR_DB
        return loud.astype(np.float64), quiet.astype(np.float64)


def _why(
    chosen: int, above: NDArray[np.float64], clipped: NDArray[np.bool_], dead: NDArray[np.bool_]
) -> str:
    """Say why a channel is better than the others."""
    others = np.arange(len(dead)) != chosen
    if dead.all():
        return "all are silent."
    if dead[others].all():
        return "nothing else is connected." if len(dead) > 2 else "the other is silent."  # noqa: PLR2004
    if clipped[others].all() and not clipped[chosen]:
        return "not clipped."
    rival = float(above[others & ~dead].max())
    if abs(above[chosen] - rival) <= _ALIKE_DB:
        return "as good as the best."
    return f"plucks stand {above[chosen]:.0f} dB above the quiet, {rival:.0f} dB elsewhere."


def _channel_name(channel: int, channels: int) -> str:
    stereo = ("left channel", "right channel")
    return stereo[channel] if channels == len(stereo) else f"channel {channel + 1}"


def _av() -> Any:
    """Return the decoder of compressed sound, which takes a while to load."""
    import av

    return av


def _soundfile() -> Any:
    """Return the reader of sound files, loaded where one is opened."""
    import soundfile

    return soundfile
