"""The page in Chromium without a microphone: dropped files, keys, access, looks, hostile names.

axe-core (Deque Systems, MPL-2.0) comes in the wheel of axe-playwright-python; it is run, not
copied.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pytest
import soundfile
from PIL import Image
from playwright.sync_api import Page, expect

from beltpitch.audio.block import Samples
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.store.entries import BeltEntry, PairEntry
from beltpitch.store.machine_file import Machine
from tests.web.workbench import RATE_HZ, Server, served

HARM = "<img src=x onerror=\"document.title='HARM'\">"
SIZES = {"narrow": (360, 740), "middle": (1024, 768), "wide": (1920, 1080)}
# The pictures of the handbook are renewed with BELTPITCH_PICTURES=docs/pictures in this test.
PICTURES = os.environ.get("BELTPITCH_PICTURES")


class Windows(Protocol):
    """What these tests use of the windows in conftest.py."""

    faults: list[str]

    def open(self, address: str, *, width: int = ..., height: int = ..., **how: Any) -> Page: ...


def gantry(*names: str) -> Machine:
    first, second = names
    belts = {
        name: BeltEntry(
            name=name,
            belt="2GT 9 mm",
            linear_mass="11.0 +/- 0.1 g/m",
            span="286 +/- 0.5 mm",
            ends="pulley,clamp",
            target="32 N",
            within="15%",
        )
        for name in names
    }
    return Machine(name="Plover", belts=belts, pairs={"y": PairEntry("y", (first, second))})


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    with served(tmp_path, gantry("y-left", "y-right")) as running:
        yield running


def sound(frequency_hz: float, count: int = 3, **options: Any) -> Samples:
    usual: dict[str, Any] = {
        "rate_hz": RATE_HZ,
        "first_s": 1.6,
        "inharmonicity": 4e-4,
        "decay_s": 0.2,
        "glide": 0.003,
        "scatter": 0.0015,
        "hum_level": 1.5e-3,
    }
    return pluck_recording(frequency_hz, plucks=count, **(usual | options))


def wav(path: Path, samples: Samples) -> Path:
    soundfile.write(path, samples, round(RATE_HZ), subtype="PCM_16")
    return path


def taken(page: Page, count: int) -> None:
    expect(page.locator("#plucks li.in")).to_have_count(count)


SLOW_CHOICE = """() => {
    const own = window.fetch;
    window.fetch = async (path, what) => {
        if (path === "/do/choose") await new Promise(done => setTimeout(done, 4000));
        return own(path, what);
    };
}"""


LATE_PICTURES = """
    const own = WebSocket.prototype.addEventListener;
    WebSocket.prototype.addEventListener = function (kind, what) {
        const late = event => setTimeout(() => {
            what(event);
            document.body.dataset.shown = "yes";
        }, 1500);
        own.call(this, kind, kind === "message" ? late : what);
    };
"""


# --- questions -----------------------------------------------------------------------------------


def test_a_question_is_answered_by_its_button_or_its_key(server: Server, windows: Windows) -> None:
    page = windows.open(f"http://{server.own}/")
    server.do("choose", name="y-left")
    server.do("listen")
    server.inputs.opened[-1].feed(sound(81.5))
    taken(page, 3)
    for how in ("key", "button"):
        server.inputs.opened[-1].feed(sound(95.0, 2))
        answers = page.locator("#answers button")
        expect(answers).to_have_count(3)
        expect(page.locator("#order")).to_contain_text("was y-left turned?")
        expect(answers.nth(2)).to_have_text("leave them out X")
        expect(page.locator("#turned")).to_be_hidden()
        if how == "key":
            page.keyboard.press("x")
            expect(page.locator("#turned")).to_be_visible()
        else:
            answers.first.focus()
            page.keyboard.press("Enter")
        expect(page.locator("#answers")).to_be_hidden()
    taken(page, 2)


# --- files ---------------------------------------------------------------------------------------


def test_a_recording_is_dropped_anywhere(server: Server, windows: Windows, tmp_path: Path) -> None:
    page = windows.open(f"http://{server.own}/")
    page.evaluate(SLOW_CHOICE)  # the recording is read as chosen, however long the choice takes
    page.select_option("#name", "y-left")
    page.click("text=Measure this")
    content = wav(tmp_path / "y.wav", sound(95.0)).read_bytes()
    dropped = page.evaluate_handle(
        """bytes => {
            const files = new DataTransfer();
            files.items.add(new File([new Uint8Array(bytes)], "../../<b>y</b>.wav"));
            return files;
        }""",
        list(content),
    )
    page.dispatch_event("#sound", "drop", {"dataTransfer": dropped})
    taken(page, 3)
    expect(page.locator("#phase")).to_have_text("read from b>.wav")
    expect(page.locator(".belt .figure")).to_contain_text("32.")
    expect(page.locator("#listen")).to_contain_text("Listen")
    page.locator("#plucks button").first.click()
    taken(page, 2)
    page.keyboard.press("k")
    page.keyboard.press("Enter")
    expect(page.locator("#kept")).to_have_text("Kept as 1 in the book.")


def test_a_belt_chosen_before_the_first_picture_stays_chosen(
    server: Server, windows: Windows
) -> None:
    page = windows.open(f"http://{server.own}/")
    page.add_init_script(LATE_PICTURES)
    page.reload()
    page.select_option("#name", "y-left")
    expect(page.locator("body")).to_have_attribute("data-shown", "yes")
    expect(page.locator("#name")).to_have_value("y-left")
    page.click("text=Measure this")
    expect(page.locator("#belts")).to_contain_text("y-left")
    expect(page.locator("#name")).to_have_value("y-left")


def test_two_recordings_are_a_pair(server: Server, windows: Windows, tmp_path: Path) -> None:
    page = windows.open(f"http://{server.own}/")
    page.select_option("#name", "y")
    page.click("text=Measure this")
    both = [wav(tmp_path / "a.wav", sound(95.0)), wav(tmp_path / "b.wav", sound(85.0, seed=4))]
    page.set_input_files("#file", both)
    expect(page.locator("#match .word")).to_contain_text("unmatched")
    expect(page.locator("#order")).to_contain_text("Tighten y-right")


def test_a_wrong_file_is_a_sentence(server: Server, windows: Windows, tmp_path: Path) -> None:
    page = windows.open(f"http://{server.own}/")
    (tmp_path / "notes.wav").write_text("this is no sound, it only claims to be")
    (tmp_path / "empty.flac").write_bytes(b"")
    for name in ("notes.wav", "empty.flac"):
        page.set_input_files("#file", tmp_path / name)
        expect(page.locator("#trouble")).to_be_visible()
        said = page.locator("#trouble").inner_text()
        assert said
        assert str(tmp_path) not in said
        assert "dropped-" not in said
    quiet = wav(tmp_path / "quiet.wav", np.zeros(32_000))
    page.set_input_files("#file", quiet)
    expect(page.locator("#cautions")).to_contain_text("silence")
    assert list(tmp_path.glob("dropped-*/*")) != []  # the last one, while it is shown
    page.click("text=Measure this")
    expect(page.locator("#cautions")).to_be_hidden()
    assert list(tmp_path.glob("dropped-*")) == []


# --- keys ----------------------------------------------------------------------------------------


def test_everything_is_done_with_keys_alone(server: Server, windows: Windows) -> None:
    page = windows.open(f"http://{server.own}/")
    page.on("filechooser", lambda _: None)  # watched from now on: its watch is slow to begin
    expect(page.locator("#name option")).to_have_count(4)
    page.keyboard.press("b")
    page.keyboard.type("y-l")
    page.keyboard.press("Tab")
    for _ in range(12):
        if page.evaluate("document.activeElement.textContent") == "Measure this":
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator(".belt h2")).to_have_text("y-left")
    expect(page.locator("#listen")).to_be_focused()
    page.keyboard.press("l")
    expect(page.locator("#listen")).to_contain_text("Stop")
    server.inputs.opened[-1].feed(sound(95.0, 3, apart_s=1.2))
    taken(page, 3)
    page.keyboard.press("d")
    taken(page, 2)
    page.keyboard.press("d")
    taken(page, 3)
    page.keyboard.press("n")
    page.keyboard.press("t")
    page.keyboard.press("k")
    page.keyboard.type("lntd kept by keys")
    page.keyboard.press("Enter")
    expect(page.locator("#kept")).to_contain_text("Kept as 1")
    page.keyboard.press("Escape")
    page.keyboard.press("v")
    expect(page.locator("#entries li")).to_contain_text("lntd kept by keys")
    with page.expect_download():
        page.keyboard.press("r")
    with page.expect_file_chooser():
        page.keyboard.press("o")
    page.keyboard.press("l")
    expect(page.locator("#listen")).to_contain_text("Listen")
    # where single keys are in somebody's way they can be switched off
    page.locator("#single-keys").press("Space")
    page.keyboard.press("l")
    page.wait_for_timeout(200)
    assert len(server.inputs.opened) == 1


def test_tab_reaches_every_control_in_the_order_of_the_page(
    server: Server, windows: Windows
) -> None:
    page = windows.open(f"http://{server.own}/")
    expect(page.locator("#name option")).to_have_count(4)
    wanted = page.evaluate(
        """() => [...document.querySelectorAll("a, button, input, select, summary")]
            .filter(e => !e.disabled && e.offsetParent !== null).length"""
    )
    seen = []
    for _ in range(wanted):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate(
                "() => [...document.querySelectorAll('*')].indexOf(document.activeElement)"
            )
        )
    assert seen == sorted(set(seen))
    assert len(seen) >= 15


# --- access and looks ----------------------------------------------------------------------------


def measured_pair(server: Server, page: Page) -> None:
    """Measure a pair that does not agree yet, with one pluck refused."""
    assert server.do("choose", name="y")[0] == 200
    assert server.do("listen")[0] == 200
    heard = server.inputs.opened[-1]
    heard.feed(sound(94.7, 5, apart_s=1.2))
    expect(page.locator(".belt.asked h2")).to_have_text("y-right")
    heard.feed(sound(88.0, 3, apart_s=1.2, first_s=0.5, seed=5))
    expect(page.locator("#match .word")).to_contain_text("unmatched")
    expect(page.locator("#order")).to_contain_text("Tighten y-right")
    expect(page.locator("#first")).to_contain_text("Power off")


def axe(page: Page) -> list[str]:
    """Return what axe-core finds that is serious or critical."""
    script = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    page.evaluate(script)  # past the page's own policy, which would not load it
    found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    return [
        f"{v['id']}: {v['help']}: {v['nodes'][0]['html'][:200]} {v['nodes'][0]['failureSummary']}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]


def shot(page: Page, path: Path, *, full_page: bool = False) -> None:
    """Take a picture in few colours, which is enough and a third of the size."""
    page.screenshot(path=path, full_page=full_page)
    with Image.open(path) as taken:
        few = taken.convert("RGB").quantize(64)
    few.save(path, optimize=True)


def test_access_and_looks(server: Server, windows: Windows, tmp_path: Path) -> None:
    first = windows.open(f"http://{server.own}/")
    assert axe(first) == []  # before anything is measured
    measured_pair(server, first)
    folder = Path(PICTURES) if PICTURES else tmp_path
    for name, (width, height) in SIZES.items():
        page = windows.open(
            f"http://{server.own}/", width=width, height=height, reduced_motion="reduce"
        )
        expect(page.locator("#ruler .mean")).to_have_count(2)
        expect(page.locator("#wave svg")).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth") == width
        shot(page, folder / f"page-{name}.png", full_page=name != "wide")
        assert axe(page) == []
        # legible at two metres: a figure of 1/100 of the screen's width is 5 mm on a laptop
        tall = page.locator(".belt .figure").first.bounding_box()
        assert tall is not None
        assert tall["height"] >= 56
        if name == "wide":  # what to do, the rulers and the buttons, without scrolling
            expect(page.locator(".belt .better")).to_be_visible()
            whole = page.locator("#now").bounding_box()
            assert whole is not None
            assert whole["y"] + whole["height"] <= height
    dark = windows.open(f"http://{server.own}/", color_scheme="dark")
    expect(dark.locator("#ruler .mean")).to_have_count(2)
    assert axe(dark) == []
    shot(dark, folder / "page-dark.png")
    assert dark.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(21, 23, 26)"


def test_what_an_ended_measurement_shows_after_a_reload(server: Server, windows: Windows) -> None:
    page = windows.open(f"http://{server.own}/")
    measured_pair(server, page)
    assert server.do("stop")[0] == 200
    page.reload()
    expect(page.locator("#advice")).to_have_text(re.compile("three plucks agree within .* %$"))
    expect(page.locator("#phase")).to_have_text("done")
    page.wait_for_timeout(300)  # a level that came before must not be drawn after
    expect(page.locator("#phase")).to_have_text("done")
    expect(page.locator("#level")).to_have_text("")


def test_nothing_moves_by_itself(server: Server, windows: Windows) -> None:
    """What moves could be too much for some: nothing does, whether or not they say so."""
    page = windows.open(f"http://{server.own}/")
    rules = page.evaluate("() => [...document.styleSheets[0].cssRules].map(r => r.cssText).join()")
    assert "var(--paper)" in rules
    assert "transition" not in rules
    assert "animation" not in rules


# --- hostile names -------------------------------------------------------------------------------


def test_names_are_only_ever_text(tmp_path: Path, windows: Windows) -> None:
    names = (HARM, "</option><script>document.title='HARM'</script>")
    with served(tmp_path, gantry(*names)) as server:
        page = windows.open(f"http://{server.own}/")
        measured = server.do("choose", name="y")
        assert measured[0] == 200
        path = wav(tmp_path / "a.wav", sound(95.0))
        page.set_input_files("#file", {"name": f"{HARM}.wav", "mimeType": "audio/wav",
                                       "buffer": path.read_bytes()})  # fmt: skip
        taken(page, 3)
        page.fill("#note", HARM)
        page.click("#keep-it")
        expect(page.locator("#kept")).to_contain_text("Kept")
        page.locator("#trends button").first.click()
        expect(page.locator("#entries li")).to_contain_text(HARM)
        expect(page.locator(".belt h2").first).to_have_text(HARM)
        assert page.locator("main img").count() == 1  # the trend's
        assert page.locator("main script").count() == 0
        assert "HARM" not in page.title()


def test_the_policy_stops_a_script_even_if_one_got_in(server: Server, windows: Windows) -> None:
    page = windows.open(f"http://{server.own}/")
    page.evaluate(
        "document.body.insertAdjacentHTML('beforeend',"
        "'<img src=x onerror=\"document.title=`HARM`\"><iframe srcdoc=x></iframe>')"
    )
    page.wait_for_timeout(300)
    assert "HARM" not in page.title()
    windows.faults[:] = [f for f in windows.faults if "Content Security Policy" not in f]


def test_a_server_that_has_ended_is_said(tmp_path: Path, windows: Windows) -> None:
    with served(tmp_path) as server:
        page = windows.open(f"http://{server.own}/")
        expect(page.locator("#phase")).to_have_text("not listening")
    expect(page.locator("#phase")).to_contain_text("no connection")
    page.click("#listen")
    expect(page.locator("#trouble")).to_contain_text("does not answer")
