"""The page in Chromium while sound is played into a real sound system."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import soundfile
from playwright.sync_api import Page, expect

from beltpitch.audio.synthesis import pluck_recording, room_noise

RATE_HZ = 48_000


class Bench(Protocol):
    """What these tests use of the bench in tests/soundbench.py."""

    folder: Path

    def play(self, path: Path, *, wait: bool = True) -> subprocess.Popen[bytes]: ...
    def kill(self) -> None: ...
    def revive(self) -> None: ...


class Windows(Protocol):
    """What these tests use of the windows in conftest.py."""

    def open(self, address: str, *, width: int = ..., height: int = ..., **how: Any) -> Page: ...


def plucks(path: Path, frequency_hz: float, count: int = 3, **options: Any) -> Path:
    usual: dict[str, Any] = {
        "first_s": 0.6,
        "apart_s": 1.4,
        "inharmonicity": 3e-4,
        "decay_s": 0.15,
        "glide": 0.003,
        "scatter": 0.001,
        "seed": 7,
    }
    sound = pluck_recording(frequency_hz, plucks=count, **(usual | options))
    soundfile.write(path, sound, RATE_HZ, subtype="PCM_24")
    return path


@contextmanager
def room(bench: Bench, folder: Path, seconds: float = 90.0) -> Iterator[None]:
    """Let a quiet room be heard: against digital silence nothing can be told."""
    path = folder / "room.wav"
    soundfile.write(path, room_noise(round(seconds * RATE_HZ), 3e-4, 1), RATE_HZ, subtype="PCM_24")
    player = bench.play(path, wait=False)
    try:
        yield
    finally:
        player.kill()
        player.wait()


def waiting(page: Page) -> None:
    expect(page.locator("#phase")).to_have_text("waiting for a pluck")


def taken(page: Page, count: int) -> None:
    expect(page.locator("#plucks li.in")).to_have_count(count)


def figure(page: Page, belt: str) -> float:
    text = page.locator(f'.belt[aria-label="{belt}"] .figure').inner_text()
    return float(re.sub(r"[^\d.]", "", text))


def test_one_belt_two_windows_a_reload_and_the_book(
    bench: Bench, windows: Windows, run_page: Callable[..., Any], workshop: Path, tmp_path: Path
) -> None:
    with room(bench, tmp_path):
        _one_belt_two_windows_a_reload_and_the_book(bench, windows, run_page, workshop, tmp_path)


def _one_belt_two_windows_a_reload_and_the_book(
    bench: Bench, windows: Windows, run_page: Callable[..., Any], workshop: Path, tmp_path: Path
) -> None:
    command = run_page(bench, "--machine", str(workshop))
    page = windows.open(command.address)
    expect(page.locator("#order")).to_contain_text("Choose a belt")
    page.select_option("#name", "y-left")
    page.click("text=Measure this")
    expect(page.locator(".belt h2")).to_have_text("y-left")
    page.click("#listen")
    waiting(page)
    bench.play(plucks(tmp_path / "y.wav", 95.0, 2))
    taken(page, 2)
    # another window, and this one anew, in the middle of it
    other = windows.open(command.address, width=700)
    page.reload()
    for window in (page, other):
        taken(window, 2)
        expect(window.locator("#name")).to_have_value("y-left")
        expect(window.locator("#wave svg")).to_be_visible()
        expect(window.locator("#listen")).to_contain_text("Stop")
    bench.play(plucks(tmp_path / "y.wav", 95.0, 3, seed=8))
    for window in (page, other):
        taken(window, 5)
    # T = 4 m L^2 f^2 = 32.5 N, less about 1.5 % for the stiffness of a belt held at one end
    assert 31.4 < figure(page, "y-left") < 32.7
    assert figure(page, "y-left") == figure(other, "y-left")
    expect(page.locator(".word")).to_have_text(re.compile("within"))
    expect(page.locator("#ruler")).to_have_attribute("aria-label", re.compile("window 27.2 N"))
    assert page.locator("#ruler line.pluck").count() == 5
    expect(page.locator("#spectrum")).to_have_attribute("aria-label", re.compile(r"1: 9[45]\."))
    # the person overrules a pluck, and both windows know it
    other.locator("#plucks button").first.click()
    expect(page.locator("#plucks li.out")).to_contain_text("left out by hand")
    page.keyboard.press("l")
    expect(page.locator("#phase")).to_have_text("done")
    page.fill("#note", "before the <b>holidays</b>")
    page.click("#keep-it")
    expect(other.locator("#kept")).to_have_text("Kept as 1 in the book.")
    command.end()
    # found again by another run
    again = run_page(bench, "y-left", "--machine", str(workshop))
    page = windows.open(again.address)
    page.click("#trends button")
    expect(page.locator("#entries li")).to_have_count(1)
    expect(page.locator("#entries li")).to_contain_text("before the <b>holidays</b>")
    assert page.locator("#trend-picture").evaluate("image => image.decode().then(() => true)")
    with page.expect_download() as download:
        page.click("#report")
    assert "y-left" in Path(download.value.path()).read_text()


def test_a_pair_is_matched_while_its_tension_changes(
    bench: Bench, windows: Windows, run_page: Callable[..., Any], workshop: Path, tmp_path: Path
) -> None:
    with room(bench, tmp_path):
        _a_pair_is_matched_while_its_tension_changes(bench, windows, run_page, workshop, tmp_path)


def _a_pair_is_matched_while_its_tension_changes(
    bench: Bench, windows: Windows, run_page: Callable[..., Any], workshop: Path, tmp_path: Path
) -> None:
    page = windows.open(run_page(bench, "y", "--machine", str(workshop)).address)
    expect(page.locator(".belt")).to_have_count(2)
    page.click("#listen")
    waiting(page)
    expect(page.locator(".belt.asked h2")).to_have_text("y-left")
    bench.play(plucks(tmp_path / "left.wav", 95.0, 5))
    expect(page.locator(".belt.asked h2")).to_have_text("y-right")
    bench.play(plucks(tmp_path / "slack.wav", 85.0, 3, seed=8))
    expect(page.locator("#match .word")).to_have_text(re.compile("unmatched"))
    expect(page.locator("#order")).to_contain_text("Tighten y-right")
    for care in ("#first", "#safety"):
        expect(page.locator(care)).to_contain_text("Power off")
    page.keyboard.press("t")
    bench.play(plucks(tmp_path / "one.wav", 95.0, 1, seed=9))
    expect(page.locator("#order")).to_contain_text("sounds like y-left: which belt was it?")
    page.keyboard.press("y")
    bench.play(plucks(tmp_path / "right.wav", 95.0, 2, seed=10))
    expect(page.locator("#order")).to_contain_text("Pluck y-left once more")
    bench.play(plucks(tmp_path / "again.wav", 95.0, 1, seed=11))
    expect(page.locator("#match .word")).to_have_text("= matched")
    expect(page.locator("#order")).to_contain_text("The plucked strands match")
    expect(page.locator("#match .reached")).to_contain_text("y-right turned · matched")
    expect(page.locator("#phase")).to_have_text("done")
    assert page.locator("#ruler .zone").count() == 1
    assert page.locator("#ruler .mean").count() == 2


def test_a_noisy_room_is_said_and_hum_is_set_aside(
    bench: Bench, windows: Windows, run_page: Callable[..., Any], workshop: Path, tmp_path: Path
) -> None:
    page = windows.open(run_page(bench, "y-left", "--machine", str(workshop)).address)
    loud = room_noise(RATE_HZ * 60, 0.2, 3)
    soundfile.write(tmp_path / "loud.wav", loud, RATE_HZ, subtype="PCM_16")
    player = bench.play(tmp_path / "loud.wav", wait=False)
    page.click("#listen")
    expect(page.locator("#cautions")).to_contain_text("too loud here")
    player.kill()
    page.click("#listen")
    expect(page.locator("#listen")).to_contain_text("Listen")
    hummed = plucks(tmp_path / "hum.wav", 95.0, 4, first_s=4.0, hum_level=4e-3, noise=2e-3)
    player = bench.play(hummed, wait=False)
    page.click("#listen")
    taken(page, 2)
    assert 31.4 < figure(page, "y-left") < 32.9
    expect(page.locator("#steady")).to_contain_text(re.compile(r"(49\.|50\.)\d"))
    assert page.locator("#spectrum line.steady").count() >= 1
    # a knock is no pluck: its sound is shown with the reason
    player.wait(timeout=60)
    bang = room_noise(RATE_HZ * 3, 2e-3, 8)
    bang[RATE_HZ : RATE_HZ + 1_200] += 0.3 * room_noise(1_200, 1.0, 9)
    soundfile.write(tmp_path / "bang.wav", bang, RATE_HZ, subtype="PCM_16")
    bench.play(tmp_path / "bang.wav")
    expect(page.locator("#portrait-title")).to_contain_text("not taken")
    expect(page.locator("#part")).to_have_text("no part was used")


def test_an_input_that_is_pulled_out_and_comes_back(
    start_bench: Callable[[], Bench],
    windows: Windows,
    run_page: Callable[..., Any],
    workshop: Path,
    tmp_path: Path,
) -> None:
    bench = start_bench()
    page = windows.open(run_page(bench, "y-left", "--machine", str(workshop)).address)
    with room(bench, tmp_path):
        page.click("#listen")
        waiting(page)
        bench.play(plucks(tmp_path / "y.wav", 95.0, 2))
        taken(page, 2)
        bench.kill()
    expect(page.locator("#order")).to_contain_text("Plug it in again")
    taken(page, 2)
    bench.revive()
    with room(bench, tmp_path):
        waiting(page)
        bench.play(plucks(tmp_path / "y.wav", 95.0, 2, seed=8))
        taken(page, 4)
    assert 31.4 < figure(page, "y-left") < 32.9
