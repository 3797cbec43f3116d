"""The handbook: its outputs are the program's, its site builds, its commands exist."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from operator import attrgetter
from pathlib import Path

import pytest

from beltpitch.advice import safety
from beltpitch.pitch import messages
from tests import readme
from tests.handbook import commands, notebook

HANDBOOK = [page.name for page in readme.pages() if page != readme.README]
ALL_PAGES = [readme.README, *sorted(readme.DOCS.glob("*.md"))]
NAME = attrgetter("name")
WIDEST = 80
TYPED = r"^```(?:console|python|toml|csv)\n(.*?)^```"  # not what Python prints
UNWRAPPED = {"accuracy.md", "speed.md", "commands.md", "calibrate.md"}  # made by other scripts


@pytest.mark.parametrize("name", HANDBOOK)
def test_every_output_is_what_the_command_prints(name: str, tmp_path: Path) -> None:
    text = (readme.DOCS / name).read_text("utf-8")
    assert readme.rendered(text, tmp_path) == text, f"python tests/readme.py docs/{name}"


def test_the_pages_that_should_show_outputs_do() -> None:
    assert {"quickstart.md", "spans.md", "uncertainty.md", "windows.md"} <= set(HANDBOOK)


def test_the_command_reference_is_that_of_the_commands() -> None:
    assert commands.PAGE.read_text("utf-8") == commands.page(), "python tests/readme.py renews it"


def test_the_notebook_runs_and_its_page_shows_what_it_printed() -> None:
    assert notebook.PAGE.read_text("utf-8") == notebook.page(notebook.run())


def test_the_notebook_is_kept_without_outputs() -> None:
    cells = [cell for cell in notebook.stored().cells if cell.cell_type == "code"]
    assert cells
    assert all(cell.outputs == [] and cell.execution_count is None for cell in cells)


@pytest.mark.parametrize("page", ALL_PAGES, ids=NAME)
def test_every_option_named_is_an_option(page: Path) -> None:
    known = {o for made in commands.every_command().values() for o in commands.options(made)}
    lines = page.read_text("utf-8").splitlines()
    own = [line for line in lines if "python -m" not in line and "calibration" not in line]
    named = set(re.findall(r"(?<![\w)\]-])--[a-z][a-z-]*[a-z]", "\n".join(own)))
    assert named - known - {"--help"} == set()


@pytest.mark.parametrize("page", ALL_PAGES, ids=NAME)
def test_every_command_written_has_the_options_it_is_given(page: Path) -> None:
    every = commands.every_command()
    text = page.read_text("utf-8").replace("\\\n", " ")
    wrong = []
    for written in re.findall(r"(?:^|[`$ /])beltpitch ([a-z][^`\n]*)", text, re.MULTILINE):
        words = written.split("#")[0].split()
        name = " ".join(words[:2]) if " ".join(words[:2]) in every else words[0]
        if name not in every:
            wrong += [written] if "--" in written else []
            continue
        given = re.findall(r"(?<![\w-])--[a-z][a-z-]*[a-z]", written)
        known = {*commands.options(every[name]), *commands.options(every[name.split()[0]])}
        wrong += [f"{name} {option}" for option in given if option not in {*known, "--help"}]
    assert wrong == []


@pytest.mark.parametrize("page", [p for p in ALL_PAGES if p.name not in UNWRAPPED], ids=NAME)
def test_what_is_typed_and_printed_fits_into_80_columns(page: Path) -> None:
    blocks = re.findall(TYPED, page.read_text("utf-8"), re.DOTALL | re.MULTILINE)
    wide = [line for block in blocks for line in block.splitlines() if len(line) > WIDEST]
    assert wide == []


def test_the_page_on_safety_says_every_caution() -> None:
    text = " ".join((readme.DOCS / "safety.md").read_text("utf-8").split())
    every = {*safety.turning(), *safety.turning(pair=True), *safety.hanging()}
    assert {caution for caution in every if caution not in text} == set()


REASONS_SAID = {  # reason of beltpitch.pitch.messages: as the page on plucking names it
    "SILENCE": "silence",
    "NOTHING_BEGAN": "no pluck was heard",
    "BAD_SAMPLES": "not numbers",
    "LOST_SOUND": "sound was lost",
    "CLIPPED_THROUGHOUT": "clipped throughout",
    "TOO_SHORT": "too short",
    "NO_SERIES": "no plucked string",
    "NO_FIT": "does not die away as a pluck does",
    "UNCLEAR": "unclear octave",
    "ON_HUM": "lies on a steady tone",
    "CLIPPED_START": "start is clipped",
    "RINGS_ON": "rang on through another sound",
    "OUTLIER": "is not what the other plucks say",
    "SUSTAINED": "a sustained tone",
    "OUTSIDE": "lies outside",
    "GOES_ON": "a voice or another sound that goes on",
    "MACHINE": "a machine or another sound that goes on",
    "VOICE": "a voice or another sound that goes on",
    "ONE_OR_TWO": "two strands at",
    "STRANGE_LINE": "began with the pluck and does not belong",
    "TWO_STRANDS": "two strands answer",
    "TWO_STRANDS_CLEAR": "two strands answer",
    "TWIST": "two tones close together",
}


def test_the_page_on_plucking_names_every_reason_against_a_pluck() -> None:
    said = {name: text for name, text in vars(messages).items() if name.isupper()}
    del said["HOLD"], said["PLUCK"]
    assert set(REASONS_SAID) == set(said)
    assert all(words in said[name] for name, words in REASONS_SAID.items())
    rows = re.findall(r"^\| ([^|]*) \|", (readme.DOCS / "plucking.md").read_text("utf-8"), re.M)
    assert [words for words in REASONS_SAID.values() if words not in rows] == []


def test_the_links_of_readme_lead_somewhere() -> None:
    for page in (readme.README, readme.ROOT / "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#:]+)", page.read_text("utf-8")):
            assert (readme.ROOT / target).is_file(), target


# --- the site -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    command = [sys.executable, "-m", "mkdocs", "build", "--strict"]
    command += ["--config-file", ".mkdocs.yml", "--site-dir", str(folder)]
    done = subprocess.run(command, cwd=readme.ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


class Loaded(HTMLParser):
    """What a page loads by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        source = given.get("src") or (given.get("href") if tag == "link" else None)
        if source:
            self.loads.append(source)


def test_every_page_of_the_handbook_is_built(site: Path) -> None:
    assert {page.stem for page in readme.DOCS.glob("*.md")} <= {p.stem for p in site.glob("*.html")}


def test_the_site_loads_nothing_from_elsewhere(site: Path) -> None:
    for page in site.glob("*.html"):
        loaded = Loaded()
        loaded.feed(page.read_text("utf-8"))
        assert [source for source in loaded.loads if re.match(r"(https?:)?//", source)] == []
    for sheet in site.rglob("*.css"):
        assert re.findall(r"(?:url\(|@import )['\"]?(?:https?:)?//", sheet.read_text("utf-8")) == []


def test_the_handbook_can_be_searched_without_a_server_elsewhere(site: Path) -> None:
    index = json.loads((site / "search" / "search_index.json").read_text("utf-8"))
    assert any("tape" in entry["text"] for entry in index["docs"])
