"""Sound files: what can be read is read in bounded memory, the rest is refused in one line."""

from __future__ import annotations

import struct
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from beltpitch.audio import files as module
from beltpitch.audio.files import open_recording, save_sound
from beltpitch.errors import RequestError, SourceError

RATE_HZ = 48_000


def tone(seconds: float = 0.5, rate_hz: int = RATE_HZ, level: float = 0.3) -> NDArray[np.float64]:
    """A decaying 110 Hz tone over faint noise: anything that is surely sound."""
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    noise = np.random.default_rng(1).normal(0.0, 1e-4, len(time_s))
    return level * np.exp(-6.0 * time_s) * np.sin(2 * np.pi * 110.0 * time_s) + noise


def heard(path: Path) -> NDArray[np.float64]:
    return np.concatenate([block.samples for block in open_recording(path)])


def encode(
    path: Path,
    samples: NDArray[np.float64],
    codec: str,
    *,
    video: bool = False,
    rate_hz: int = RATE_HZ,
    title: str = "",
) -> None:
    """Write mono sound through FFmpeg's encoders, with a short black film if `video`."""
    import av

    with av.open(str(path), "w") as container:
        if title:
            container.metadata["title"] = title
        picture = None
        if video:
            picture = container.add_stream("mpeg4", rate=25)
            picture.width, picture.height, picture.pix_fmt = 64, 48, "yuv420p"
        stream: Any = container.add_stream(codec, rate=rate_hz, layout="mono")
        frame = av.AudioFrame.from_ndarray(
            samples.astype(np.float32)[np.newaxis], format="fltp", layout="mono"
        )
        frame.sample_rate = rate_hz
        if picture is not None:
            black = av.VideoFrame.from_ndarray(np.zeros((48, 64, 3), np.uint8), format="rgb24")
            for packet in [*picture.encode(black), *picture.encode(None)]:
                container.mux(packet)
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)


# --- what can be read ----------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", ["wav", "flac", "aiff", "w64", "caf", "au", "rf64"])
def test_exact_formats_give_the_samples_back(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"pluck.{suffix}"
    soundfile.write(path, tone(), RATE_HZ, subtype="PCM_24")
    found = open_recording(path)
    assert (found.rate_hz, found.channels, found.channel_note) == (RATE_HZ, 1, None)
    assert found.duration_s == pytest.approx(0.5, abs=1e-12)
    assert found.warnings == ()
    assert found.name == path.name
    np.testing.assert_allclose(heard(path), tone(), rtol=0, atol=2.0**-23)


@pytest.mark.parametrize(
    ("name", "codec", "video"),
    [
        ("phone.m4a", "aac", False),
        ("phone.aac", "aac", False),
        ("phone.mp4", "aac", True),
        ("phone.mov", "aac", True),
        ("phone.mov", "pcm_s16le", True),
        ("phone.webm", "libopus", False),
        ("phone.mkv", "libopus", True),
        ("phone.mp3", "libmp3lame", False),
        ("phone.ogg", "libopus", False),
        ("phone.m4a", "alac", False),
    ],
)
def test_phone_formats_keep_the_tone(tmp_path: Path, name: str, codec: str, video: bool) -> None:
    path = tmp_path / name
    if codec in {"pcm_s16le", "alac"}:
        encode_whole_numbers(path, tone(), codec, video=video)
    else:
        encode(path, tone(), codec, video=video)
    found = open_recording(path)
    assert found.rate_hz == RATE_HZ
    assert found.duration_s == pytest.approx(0.5, abs=0.08)  # packets, and the coder's run-in
    assert found.warnings == ()
    got = heard(path)
    spectrum = np.abs(np.fft.rfft(got, 8 * RATE_HZ))
    assert np.argmax(spectrum) / 8 == pytest.approx(110.0, abs=0.5)
    assert np.max(np.abs(got)) == pytest.approx(np.max(np.abs(tone())), rel=0.1)


@pytest.mark.parametrize(
    ("name", "codec"), [("phone.m4a", "aac"), ("phone.mka", "libopus"), ("phone.mp3", "libmp3lame")]
)
def test_tags_that_are_no_utf8_do_not_matter(tmp_path: Path, name: str, codec: str) -> None:
    path = tmp_path / name
    encode(path, tone(), codec, title="Portal links")
    raw = path.read_bytes()
    assert raw.count(b"Portal") == 1
    path.write_bytes(raw.replace(b"Portal", b"P\xf6rt\xe4l"))
    found = open_recording(path)
    assert found.duration_s == pytest.approx(0.5, abs=0.08)
    assert found.warnings == ()


def encode_whole_numbers(
    path: Path, samples: NDArray[np.float64], codec: str, *, video: bool
) -> None:
    """As `encode`, for codecs that take 16-bit samples."""
    import av

    planar = codec == "alac"
    whole = np.rint(samples * 32767).astype(np.int16)[np.newaxis]
    with av.open(str(path), "w") as container:
        stream: Any = container.add_stream(codec, rate=RATE_HZ, layout="mono")
        frame = av.AudioFrame.from_ndarray(whole, format="s16p" if planar else "s16", layout="mono")
        frame.sample_rate = RATE_HZ
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 96_000, 192_000])
def test_rates_from_telephone_to_studio(tmp_path: Path, rate_hz: int) -> None:
    path = tmp_path / "pluck.wav"
    soundfile.write(path, tone(rate_hz=rate_hz), rate_hz)
    assert {block.rate_hz for block in open_recording(path)} == {rate_hz}


def test_blocks_follow_each_other_and_may_be_read_again(tmp_path: Path) -> None:
    path = tmp_path / "pluck.flac"
    samples = tone(2.0)
    save_sound(path, samples, RATE_HZ)
    found = open_recording(path)
    blocks = list(found)
    assert len(blocks) > 2
    assert max(len(block.samples) for block in blocks) <= module.BLOCK_FRAMES
    assert not any(block.overflow for block in blocks)
    again = np.concatenate([block.samples for block in found])
    np.testing.assert_array_equal(again, np.concatenate([block.samples for block in blocks]))
    np.testing.assert_allclose(again, samples, rtol=0, atol=2.0**-23)


def test_gone_in_the_meantime(tmp_path: Path) -> None:
    path = tmp_path / "pluck.wav"
    soundfile.write(path, tone(), RATE_HZ)
    found = open_recording(path)
    path.unlink()
    with pytest.raises(SourceError, match=r"pluck\.wav cannot be read: No such file"):
        list(found)


# --- which channel -------------------------------------------------------------------------------


def stereo(
    path: Path, left: NDArray[np.float64], right: NDArray[np.float64], subtype: str = "PCM_16"
) -> module.Recording:
    soundfile.write(path, np.stack([left, right], axis=1), RATE_HZ, subtype=subtype)
    return open_recording(path)


def late_pluck(noise: float, seed: int, level: float = 0.3) -> NDArray[np.float64]:
    """Two seconds of room, then a pluck."""
    samples = np.concatenate([np.zeros(2 * RATE_HZ), tone(1.0, level=level)])
    return samples + np.random.default_rng(seed).normal(0.0, noise, len(samples))


def test_dead_channel_is_passed_over(tmp_path: Path) -> None:
    found = stereo(tmp_path / "a.wav", np.full(RATE_HZ // 2, 0.25), tone())
    assert found.channel_note == "right channel of 2: the other is silent."
    samples = np.concatenate([block.samples for block in found])
    np.testing.assert_allclose(samples, tone(), rtol=0, atol=2.0**-15)


def test_the_quieter_channel_with_less_noise_is_better(tmp_path: Path) -> None:
    near, far = late_pluck(1e-4, 2, level=0.1), late_pluck(2e-2, 3, level=0.4)
    found = stereo(tmp_path / "a.wav", far, near)
    assert found.channel == 1
    assert found.channel_note is not None
    assert found.channel_note.startswith("right channel of 2: plucks stand ")
    assert stereo(tmp_path / "b.wav", near, far).channel == 0


def test_a_clipped_channel_gives_way(tmp_path: Path) -> None:
    clipped = np.clip(late_pluck(1e-3, 4, level=3.0), -1.0, 1.0)
    clean = late_pluck(1e-3, 5, level=0.9)
    found = stereo(tmp_path / "a.wav", clipped, clean)
    assert found.channel_note == "right channel of 2: not clipped."
    drowned = late_pluck(0.2, 6, level=0.3)  # clean but useless
    assert stereo(tmp_path / "b.wav", clipped, drowned).channel == 0


def test_one_click_does_not_make_a_channel_better(tmp_path: Path) -> None:
    pluck = late_pluck(1e-3, 7, level=0.1)
    clicking = np.random.default_rng(8).normal(0.0, 1e-3, len(pluck))
    clicking[RATE_HZ] = 0.9
    assert stereo(tmp_path / "a.wav", clicking, pluck).channel == 1


def test_like_channels_leave_it_at_the_first(tmp_path: Path) -> None:
    found = stereo(tmp_path / "a.wav", tone(), tone())
    assert found.channel_note == "left channel of 2: as good as the best."
    silent = stereo(tmp_path / "b.wav", np.zeros(4800), np.zeros(4800))
    assert silent.channel_note == "left channel of 2: all are silent."


def test_more_than_two_channels_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    channels = np.zeros((RATE_HZ // 2, 4))
    channels[:, 2] = tone()
    soundfile.write(path, channels, RATE_HZ)
    assert open_recording(path).channel_note == "channel 3 of 4: nothing else is connected."


# --- what is refused, and in which words ---------------------------------------------------------


def test_no_file(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match=r"^\S+/y-left\.wav: no such file; check"):
        open_recording(tmp_path / "y-left.wav")
    with pytest.raises(SourceError, match="no such file"):
        open_recording(str(tmp_path / "a\0b.wav"))
    with pytest.raises(SourceError, match="cannot be read: File name too long"):
        open_recording(tmp_path / ("a" * 1000))


def test_a_folder(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match="is a folder; name the sound file in it"):
        open_recording(tmp_path)


def test_no_ordinary_file() -> None:
    with pytest.raises(SourceError, match="is not a file"):
        open_recording("/dev/null")


def test_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.wav"
    path.touch()
    with pytest.raises(SourceError, match=r"empty\.wav is empty \(0 bytes\)"):
        open_recording(path)


@pytest.mark.parametrize("name", ["notes.wav", "notes.raw", "notes.m4a", "notes", "notes.mp3"])
def test_text_is_no_sound(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_text("y-left 66.3 Hz, y-right 64.0 Hz\n" * 200)
    with pytest.raises(SourceError, match=f"{name} is no sound that can be read"):
        open_recording(path)


def test_a_playlist_opens_nothing_else(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "other.wav", tone(), RATE_HZ)
    path = tmp_path / "list.m4a"
    path.write_text("ffconcat version 1.0\nfile 'other.wav'\n")
    with pytest.raises(SourceError, match="is no sound that can be read"):
        open_recording(path)
    path.write_text(f"#EXTM3U\n#EXTINF:1,\nfile://{tmp_path}/other.wav\n#EXT-X-ENDLIST\n")
    with pytest.raises(SourceError, match="is no sound that can be read"):
        open_recording(path)


def test_a_silent_film(tmp_path: Path) -> None:
    import av

    path = tmp_path / "film.mp4"
    with av.open(str(path), "w") as container:
        picture = container.add_stream("mpeg4", rate=25)
        picture.width, picture.height, picture.pix_fmt = 64, 48, "yuv420p"
        black = av.VideoFrame.from_ndarray(np.zeros((48, 64, 3), np.uint8), format="rgb24")
        for packet in [*picture.encode(black), *picture.encode(None)]:
            container.mux(packet)
    with pytest.raises(SourceError, match=r"film\.mp4 has no sound in it"):
        open_recording(path)


@pytest.mark.parametrize("rate_hz", [4_000, 7_999, 192_001, 384_000])
def test_rates_out_of_range(tmp_path: Path, rate_hz: int) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, tone(0.1), rate_hz)
    with pytest.raises(SourceError, match=f"{rate_hz} samples a second, outside 8000 to 192000"):
        open_recording(path)


def test_a_sample_format_of_nobody(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, tone(0.1), RATE_HZ, subtype="PCM_32")
    raw = bytearray(path.read_bytes())
    raw[32:36] = struct.pack("<HH", 8, 64)  # whole numbers of 64 bits
    path.write_bytes(raw)
    with pytest.raises(SourceError, match=r"a\.wav holds no samples"):
        open_recording(path)


def test_no_samples(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros(0), RATE_HZ)
    with pytest.raises(SourceError, match=r"a\.wav holds no samples"):
        open_recording(path)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e12])
def test_values_that_are_no_sound(tmp_path: Path, value: float) -> None:
    path = tmp_path / "a.wav"
    samples = tone(1.0)
    samples[36_000] = value
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    with pytest.raises(SourceError, match=r"no sound \(NaN, infinite or beyond 1e9\) at 0\.75 s"):
        open_recording(path)


# --- what is damaged -----------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", ["wav", "w64", "aiff", "flac", "ogg", "mp3", "mka", "rf64"])
def test_a_file_that_breaks_off_gives_what_is_there(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"cut.{suffix}"
    if suffix == "mka":
        encode(path, tone(4.0), "libopus")
    else:
        soundfile.write(path, tone(4.0), RATE_HZ)
    whole = open_recording(path)
    assert whole.warnings == ()
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 6 // 10])
    found = open_recording(path)
    assert 1.0 < found.duration_s < 3.5
    assert sum(len(block.samples) for block in found) == found.frames
    assert any(f"{found.duration_s:.2f} s" in warning for warning in found.warnings)


def test_a_header_that_claims_hours_allocates_nothing(tmp_path: Path) -> None:
    path = tmp_path / "claims.wav"
    soundfile.write(path, tone(), RATE_HZ)
    raw = bytearray(path.read_bytes())
    raw[4:8] = raw[40:44] = struct.pack("<I", 0xFFFF_FFF0)
    path.write_bytes(raw)
    tracemalloc.start()
    found = open_recording(path)
    samples = heard(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found.duration_s == pytest.approx(0.5)
    assert found.warnings == (
        "claims.wav claims 12.4 h of sound but holds 0.50 s: what is there was read.",
    )
    np.testing.assert_allclose(samples, tone(), rtol=0, atol=2.0**-15)
    assert peak < 4e6


@pytest.mark.parametrize(
    ("subtype", "step"), [("PCM_U8", 2.0**-7), ("PCM_16", 2.0**-15), ("FLOAT", 2.0**-24)]
)
def test_a_recorder_that_never_closed_its_file(tmp_path: Path, subtype: str, step: float) -> None:
    path = tmp_path / "open.wav"
    soundfile.write(path, tone(), RATE_HZ, subtype=subtype)
    raw = bytearray(path.read_bytes())
    length = raw.index(b"data") + 4
    raw[4:8] = raw[length : length + 4] = struct.pack("<I", 0)
    path.write_bytes(raw)
    np.testing.assert_allclose(heard(path), tone(), rtol=0, atol=step)


def test_a_stream_that_changes_its_rate_midway(tmp_path: Path) -> None:
    first, second, both = tmp_path / "a.aac", tmp_path / "b.aac", tmp_path / "both.aac"
    encode(first, tone(1.0), "aac")
    encode(second, tone(1.0, 24_000), "aac", rate_hz=24_000)
    both.write_bytes(first.read_bytes() + second.read_bytes())
    found = open_recording(both)
    assert found.rate_hz == RATE_HZ
    assert found.duration_s == pytest.approx(1.0, abs=0.05)
    assert found.warnings[0].startswith("both.aac changes its sampling rate or channels after 1.0")


def test_a_thousand_channels_claimed(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, tone(4.0), RATE_HZ)
    raw = bytearray(path.read_bytes())
    raw[22:24] = struct.pack("<H", 1024)
    raw[32:34] = struct.pack("<H", 2048)
    path.write_bytes(raw)
    tracemalloc.start()
    open_recording(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 3e7


def test_lost_packets_are_a_fact_on_the_block(tmp_path: Path) -> None:
    import av

    whole, cut = tmp_path / "whole.mka", tmp_path / "cut.mka"
    encode(whole, tone(2.0), "aac")
    with av.open(str(whole)) as source, av.open(str(cut), "w") as target:
        stream = target.add_stream_from_template(source.streams.audio[0])
        for number, packet in enumerate(source.demux(audio=0)):
            if packet.dts is None or 40 <= number < 50:
                continue
            packet.stream = stream
            target.mux(packet)
    found = open_recording(cut)
    assert found.duration_s == pytest.approx(2.0 - 10 * 1024 / RATE_HZ, abs=0.05)
    assert [block.overflow for block in found].count(True) == 1
    assert any("sound is missing at 0.8" in warning for warning in found.warnings)
    assert not any(block.overflow for block in open_recording(whole))


def test_memory_does_not_grow_with_length(tmp_path: Path) -> None:
    """Law, not value: six times the length, the same memory."""
    peaks = []
    for minutes in (2, 12):
        path = tmp_path / f"{minutes}.wav"
        with soundfile.SoundFile(path, "w", 8_000, 2, "PCM_U8") as target:
            for _ in range(minutes):
                target.write(np.zeros((60 * 8_000, 2)))
        tracemalloc.start()
        found = open_recording(path)
        assert sum(len(block.samples) for block in found) == minutes * 60 * 8_000
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.05 * peaks[0]


# --- garbage in: a recording or one line ---------------------------------------------------------


def recording_or_one_line(path: Path) -> None:
    refusal = ""
    try:
        found = open_recording(path)
        count = sum(len(block.samples) for block in found)
    except SourceError as error:
        refusal = error.message
    else:
        assert count == found.frames > 0
        assert 8_000 <= found.rate_hz <= 192_000
    assert "\n" not in refusal
    assert len(refusal) < 300


HEADS = st.sampled_from(
    [
        b"",
        b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0",
        b"RF64\xff\xff\xff\xffWAVEds64",
        b"FORM\0\0\1\0AIFF",
        b"fLaC\0\0\0\x22",
        b"OggS\0\x02",
        b".snd\0\0\0\x18",
        b"caff\0\1\0\0",
        b"\xff\xfb\x90\0",  # MP3
        b"ID3\4\0\0",
        b"\xff\xf1\x50\x80",  # AAC
        b"#!AMR\n",
        b"\0\0\0\x20ftypisom",  # MP4
        b"\x1aE\xdf\xa3",  # Matroska
    ]
)
NAMES = st.sampled_from(["a.wav", "a.mp3", "a.m4a", "a.raw", "a", "a.vox", "a.flac", "a.txt"])


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(head=HEADS, body=st.binary(max_size=3000), name=NAMES)
def test_garbage(tmp_path: Path, head: bytes, body: bytes, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(head + body)
    recording_or_one_line(path)


@pytest.fixture(scope="module")
def originals(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("originals")
    made = {}
    for suffix in ("wav", "flac", "aiff", "ogg", "mp3", "w64", "caf"):
        soundfile.write(folder / f"a.{suffix}", tone(0.1), RATE_HZ)
    soundfile.write(folder / "a.au", tone(0.1), RATE_HZ, subtype="FLOAT")
    for suffix, codec in (("m4a", "aac"), ("mov", "aac"), ("webm", "libopus"), ("aac", "aac")):
        encode(folder / f"a.{suffix}", tone(0.1), codec)
    for path in folder.iterdir():
        made[path.suffix] = path.read_bytes()
    return made


@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_mutated_headers(tmp_path: Path, originals: dict[str, bytes], data: st.DataObject) -> None:
    suffix = data.draw(st.sampled_from(sorted(originals)))
    raw = bytearray(originals[suffix])
    # Headers stand in the first bytes, and in the last ones of MP4.
    places = st.one_of(st.integers(0, 120), st.integers(len(raw) - 700, len(raw) - 1))
    for place, value in data.draw(
        st.lists(st.tuples(places, st.integers(0, 255)), min_size=1, max_size=8)
    ):
        raw[max(place, 0)] = value
    length = data.draw(st.one_of(st.just(len(raw)), st.integers(1, len(raw))))
    path = tmp_path / f"a{suffix}"
    path.write_bytes(raw[:length])
    recording_or_one_line(path)


# --- keeping sound -------------------------------------------------------------------------------


@pytest.mark.parametrize(("suffix", "error"), [("wav", 2.0**-24), ("flac", 2.0**-23)])
def test_saved_sound_comes_back(tmp_path: Path, suffix: str, error: float) -> None:
    path = tmp_path / f"pluck.{suffix}"
    save_sound(path, tone(), RATE_HZ)
    np.testing.assert_allclose(heard(path), tone(), rtol=0, atol=error)
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_saving_never_overwrites_unasked(tmp_path: Path) -> None:
    path = tmp_path / "pluck.wav"
    path.write_bytes(b"precious")
    with pytest.raises(RequestError, match="exists and was left as it is"):
        save_sound(path, tone(), RATE_HZ)
    assert path.read_bytes() == b"precious"
    save_sound(path, tone(), RATE_HZ, overwrite=True)
    assert open_recording(path).duration_s == pytest.approx(0.5)


def test_saving_into_nowhere(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match=r"pluck\.mp3: sound is written as \.flac or \.wav"):
        save_sound(tmp_path / "pluck.mp3", tone(), RATE_HZ)
    with pytest.raises(RequestError, match="cannot be written"):
        save_sound(tmp_path / "no" / "pluck.wav", tone(), RATE_HZ)


def test_a_broken_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "pluck.wav"
    save_sound(path, tone(), RATE_HZ)
    before = path.read_bytes()

    def full(*_: object, **__: object) -> None:
        path.with_name(path.name + ".half").touch()
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(soundfile, "write", full)
    with pytest.raises(RequestError, match="cannot be written: No space left on device"):
        save_sound(path, tone(0.2), RATE_HZ, overwrite=True)
    assert path.read_bytes() == before


def test_only_sound_is_saved(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="finite"):
        save_sound(tmp_path / "a.wav", np.array([0.0, np.nan]), RATE_HZ)
    with pytest.raises(ValueError, match="finite"):
        save_sound(tmp_path / "a.wav", np.zeros((4, 2)), RATE_HZ)
    with pytest.raises(ValueError, match="whole number"):
        save_sound(tmp_path / "a.wav", tone(), 44_100.5)
