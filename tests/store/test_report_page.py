"""The report: what stands on it, that no name can do harm in a real browser, and how it prints."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest

from beltpitch.errors import CannotTell, RequestError
from beltpitch.present import report as r
from beltpitch.store import machine_file as m
from beltpitch.store.log import History
from tests.store.test_machine_file import ROUTER
from tests.store.workshop import START, sitting

EVIL = (
    "<script>document.title='HARM'</script>",
    '"><img src=x onerror="document.title=\'HARM\'">',
    "'-alert(1)-'{{7*7}}{% raw %}",
    "</title><svg onload=document.title='HARM'>",
    "javascript:document.title='HARM'",
)


class Page(HTMLParser):
    """The tags of a page with their attributes, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def fill(history: History) -> None:
    for i, hertz in enumerate((70.2, 69.9, 69.6, 69.2)):
        history.keep(sitting(hertz, day=30 * i, seen="frayed edge" if i == 3 else None))
    history.keep(sitting(70.9, day=90, belt="y-right", span="410 mm", note="set today"))


@pytest.fixture
def router(tmp_path: Path) -> m.Machine:
    path = tmp_path / "beltpitch.toml"
    path.write_text(ROUTER)
    return m.load(path)


@pytest.fixture
def made(tmp_path: Path, router: m.Machine) -> r.Report:
    with History(tmp_path / "book.sqlite") as history:
        fill(history)
        return r.report_of(history, router)


def test_it_says_of_each_belt_state_next_step_date_trend_budget_and_sources(made: r.Report) -> None:
    page = Page(r.html_of(made))
    for words in (
        "Northlight router",
        "What to do next",
        "y-left \N{MIDDLE DOT} 2GT 9 mm",
        "tight",
        "loosen it now",
        "Pair y: y-left and y-right",
        "not yet known",
        "a month",
        "linear mass",
        "bending stiffness",
        "frayed edge",
        "set today",
        "Power off",
        "from memory of belt makers",
        made.program,
    ):
        assert words in page.text, words


def test_every_picture_has_its_words_and_nothing_comes_from_outside(made: r.Report) -> None:
    text = r.html_of(made)
    page = Page(text)
    pictures = page.all("img")
    assert len(pictures) == 5  # two rulers, two trends, one pair
    for picture in pictures:
        assert len(picture["alt"] or "") > 40
        assert (picture["src"] or "").startswith("data:image/svg+xml;base64,")
    assert not {"script", "link", "iframe", "object", "form", "a"} & {tag for tag, _ in page.tags}
    assert not re.search(r"https?://(?!www\.w3\.org)", text)
    policy = [t.get("content") for t in page.all("meta") if t.get("http-equiv")]
    assert policy == ["default-src 'none'; img-src data:; style-src 'unsafe-inline'"]
    assert page.all("html")[0]["lang"] == "en"
    assert not any(key.startswith("on") for _, attributes in page.tags for key in attributes)


def test_forces_are_shown_in_the_unit_asked_for(made: r.Report) -> None:
    words = Page(r.html_of(made, "lbf")).text
    assert "lbf" in words
    figures = re.sub(
        r"(tighten|let off) \S+ by [^,]*|\S+ N is above \S+ N|\d+ N at 25.4 mm",
        "",
        words.partition("Cautions")[0],
    )
    assert not re.search(r"\d N\b", figures)


def test_belts_that_were_never_read_and_entries_the_file_does_not_make_are_said(
    tmp_path: Path,
) -> None:
    path = tmp_path / "beltpitch.toml"
    path.write_text(ROUTER.replace('belt = "2GT 9 mm"', 'belt = "2GTX 9 mm"', 1))
    with History(tmp_path / "book.sqlite") as history:
        found = r.report_of(history, m.load(path))
    words = Page(r.html_of(found)).text
    assert 'the machine file does not make this belt: no belt "2GTX 9 mm"' in words
    assert "no reading of y-left and y-right" in words
    assert "nothing was read yet" in words


def test_without_a_file_the_book_alone_will_do(tmp_path: Path) -> None:
    with History(tmp_path / "book.sqlite") as history:
        with pytest.raises(RequestError, match=r"which machine.*none yet"):
            r.report_of(history)
        fill(history)
        assert [page.name for page in r.report_of(history).belts] == ["y-left", "y-right"]
        history.keep(sitting(machine="laser"))
        with pytest.raises(RequestError, match=r"which machine.*laser"):
            r.report_of(history)
        assert r.report_of(history, name="laser").machine == "laser"
        with pytest.raises(RequestError, match='no reading of a machine "mill"'):
            r.report_of(history, name="mill")


def test_a_machine_of_ten_thousand_belts_shows_those_that_were_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "many.toml"
    rows = [f'[belts.b{i}]\nbelt = "2GT 9 mm"\n' for i in range(10_000)]
    path.write_text('[machine]\nname = "Northlight router"\n' + "".join(rows))
    monkeypatch.setattr(r, "MOST_BELTS", 3)
    with History(tmp_path / "book.sqlite") as history:
        history.keep(sitting(belt="b9000"))
        found = r.report_of(history, m.load(path))
    assert [page.name for page in found.belts] == ["b0", "b1", "b9000"]
    assert "9997 more belts are not shown" in Page(r.html_of(found)).text


def test_the_most_urgent_belt_stands_first(tmp_path: Path) -> None:
    with History(tmp_path / "book.sqlite") as history:
        history.keep(sitting(70.0, belt="a"))
        history.keep(sitting(40.0, belt="z"))
        found = r.report_of(history)
    rows = r._summary(found)
    assert [(row["belt"], row["word"]) for row in rows] == [("z", "slack"), ("a", "within")]
    assert "adjust it" in rows[0]["why"]
    assert any("whips" in words for words in found.cautions)


# --- in a real browser ---------------------------------------------------------------------------


def browser_says(page: Path, folder: Path, *more: str) -> str:
    found = r.browser()
    assert found is not None, "these tests need Chromium: apt-get install chromium"
    command = [found, *r.browser_options(folder), *more, page.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=True)
    return done.stdout


def evil_report(tmp_path: Path) -> Path:
    with History(tmp_path / "book.sqlite") as history:
        for i, name in enumerate(EVIL):
            history.keep(
                sitting(70.0 - i, machine=EVIL[0], belt=name, note=name, seen=name, park=name)
            )
            history.keep(sitting(71.0, day=20, machine=EVIL[0], belt=name, strand=name))
        made = r.report_of(history)
    page = tmp_path / "report.html"
    r.write(made, page)
    return page


def test_no_name_can_run_a_script_in_chromium(tmp_path: Path) -> None:
    shown = browser_says(evil_report(tmp_path), tmp_path, "--dump-dom")
    assert "<title>Belts of &lt;script&gt;" in shown
    dom = Page(shown)
    assert "HARM" not in (re.search(r"<title>(.*?)</title>", shown, re.DOTALL) or [""])[0].replace(
        "document.title='HARM'", ""
    )
    assert not {"script", "svg"} & {tag for tag, _ in dom.tags}
    assert all((i["src"] or "").startswith("data:image/svg+xml") for i in dom.all("img"))
    assert not any(key.startswith("on") for _, attributes in dom.tags for key in attributes)
    for name in EVIL:
        assert " ".join(name.split()) in dom.text


def test_the_policy_stops_a_script_even_if_one_got_in(tmp_path: Path) -> None:
    page = evil_report(tmp_path)
    text = page.read_text()
    page.write_text(text.replace("<main>", f"<main>{EVIL[0]}", 1))
    assert "<title>Belts of" in browser_says(page, tmp_path, "--dump-dom")
    bare = re.sub(r"<meta http-equiv[^>]*>", "", page.read_text())
    page.write_text(bare)
    assert "<title>HARM</title>" in browser_says(page, tmp_path, "--dump-dom")  # the test can fail


def test_it_prints_to_a_pdf_of_a_few_pages(tmp_path: Path, made: r.Report) -> None:
    path = tmp_path / "out.pdf"
    r.print_pdf(made, path)
    raw = path.read_bytes()
    assert raw.startswith(b"%PDF")
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", raw)) <= 8


def test_the_page_is_drawn_with_ink_on_it(tmp_path: Path, made: r.Report) -> None:
    from matplotlib.image import imread

    page, shot = tmp_path / "report.html", tmp_path / "shot.png"
    r.write(made, page)
    browser_says(page, tmp_path, f"--screenshot={shot}", "--window-size=794,1123")
    pixels = imread(shot)[:, :, :3]
    assert pixels.shape[:2] == (1123, 794)
    dark = (pixels.mean(axis=2) < 0.5).mean()
    assert 0.01 < dark < 0.3
    assert (pixels.min(axis=2) > 0.99).mean() > 0.5  # on white, for print


def test_without_a_browser_it_says_what_to_do(
    tmp_path: Path, made: r.Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(RequestError, match="open it in any browser and print"):
        r.print_pdf(made, tmp_path / "x.pdf")


@pytest.mark.parametrize("name", ["false", "no-such-program"])
def test_a_browser_that_does_not_print_is_one_line(
    tmp_path: Path, made: r.Report, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr(r, "browser", lambda: name)
    with pytest.raises(CannotTell, match=r"does not print|could not print"):
        r.print_pdf(made, tmp_path / "x.pdf")


def test_a_page_that_cannot_be_written_is_one_line(tmp_path: Path, made: r.Report) -> None:
    with pytest.raises(RequestError, match="cannot be written"):
        r.write(made, tmp_path / "no" / "report.html")


def test_what_warmth_does_is_known_from_belt_and_frame(router: m.Machine) -> None:
    about = r.about_belt(router, "y-left")
    assert about.newtons_per_kelvin == pytest.approx(28800 * (23e-6 - 5e-6))
    assert about.check_every_days == 60
    assert about.fitted == dt.date(2026, 2, 27)
    assert about.window is not None
    assert r.about_belt(router, "other") == r.about_belt(None, "y-left")
    assert START.tzinfo is not None
