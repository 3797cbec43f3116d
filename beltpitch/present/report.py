"""One page for a machine: each belt on its ruler, pairs, trends, last readings, what to do when.

The page is one HTML file that needs nothing else: pictures are inside it, it asks the network for
nothing, and its own policy forbids every script. Text from the user is escaped by the template
engine. It prints on A4 and on Letter.

Conventions: forces in the unit asked for; times in local time.
"""

from __future__ import annotations

import base64
import datetime as dt
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beltpitch.advice.axis import thermal_change
from beltpitch.advice.comparison import Comparison, compare
from beltpitch.advice.safety import plucking, turning
from beltpitch.advice.window import TO_TURN
from beltpitch.errors import BeltpitchError, CannotTell, RequestError
from beltpitch.present.plots import (
    MONTH_DAYS,
    Picture,
    RulerRow,
    ruler_figure,
    svg_of,
    trend_figure,
)
from beltpitch.present.study_plot import study_figure
from beltpitch.present.text import force
from beltpitch.reading import COVERAGE
from beltpitch.session.verdict import judged
from beltpitch.store.entries import WITHIN_PAIR
from beltpitch.store.log import Entry, Filter, History, program
from beltpitch.store.machine_file import Machine
from beltpitch.store.named_belts import NamedBelt
from beltpitch.store.records import reading_from
from beltpitch.store.trend import MOST, About, Trend, trend
from beltpitch.study.sources import studied, study_of
from beltpitch.uncertainty import Estimate
from beltpitch.units import FORCE, PERCENT, in_unit, parse

if TYPE_CHECKING:
    from beltpitch.study.study import Study

READINGS_SHOWN = 10
MOST_BELTS = 60  # on one page; each has two pictures
TEMPLATE = "report.html"
PRINT_TIMEOUT_S = 180
# Names that Chromium and its kin go by on Linux, macOS and Windows.
BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "msedge",
    "microsoft-edge",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
)


@dataclass(frozen=True, slots=True)
class BeltPage:
    """What the report says of one belt; `latest` is None where nothing was read yet."""

    name: str
    kind: str
    trend: Trend
    latest: Entry | None
    entries: tuple[Entry, ...]
    next_step: str
    sources: tuple[str, ...]
    fault: str = ""


@dataclass(frozen=True, slots=True)
class PairPage:
    """What the report says of a pair."""

    name: str
    belts: tuple[str, str]
    match: Comparison | None
    why: str


@dataclass(frozen=True, slots=True)
class StudyPage:
    """What the report says of one study; `study` is None where nothing can be judged yet."""

    name: str
    study: Study | None
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Report:
    """What the report of one machine says."""

    machine: str
    made: dt.datetime
    program: str
    belts: tuple[BeltPage, ...]
    pairs: tuple[PairPage, ...]
    cautions: tuple[str, ...]
    note: str | None = None
    left_out: int = 0
    studies: tuple[StudyPage, ...] = ()


# --- what is known of a belt beside its readings ------------------------------------------------


def about_belt(machine: Machine | None, name: str) -> About:
    """Return what the machine file knows of a belt; nothing without a file or such a belt."""
    if machine is None or name not in machine.belts:
        return About()
    return _about(machine, machine.named(name))


def _about(machine: Machine, made: NamedBelt) -> About:
    return About(
        check_every_days=machine.check_every_days,
        window=made.windows.verdict,
        fitted=made.entry.fitted,
        newtons_per_kelvin=_warmth(machine, made),
    )


def _warmth(machine: Machine, made: NamedBelt) -> float | None:
    belt = made.belt
    if machine.frame is None or belt.ea_n is None or belt.cord_expansion_per_k is None:
        return None
    return thermal_change(belt.ea_n.value, belt.cord_expansion_per_k.value, machine.frame, 1.0)


# --- gathering ----------------------------------------------------------------------------------


def report_of(
    history: History, machine: Machine | None = None, *, name: str | None = None
) -> Report:
    """Return the report of a machine.

    Parameters
    ----------
    history
        The book.
    machine
        Its file; without one the belts are those of the book.
    name
        Of the machine, if there is no file.

    Raises
    ------
    RequestError
        If the book knows no machine of that name, or several and none was named.
    """
    title = machine.name if machine is not None else _only_machine(history, name)
    kept = [belt for owner, belt in history.belts() if owner == title]
    # belts that were read come first where there are more than a page can hold
    names = list(dict.fromkeys([*kept, *(machine.belts if machine else ())]))
    shown = set(names[:MOST_BELTS])
    in_order = dict.fromkeys([*(machine.belts if machine else ()), *kept])
    belts = tuple(_belt_page(history, title, machine, n) for n in in_order if n in shown)
    pairs = tuple(
        _pair_page(machine, pair.name, belts)
        for pair in (machine.pairs.values() if machine else ())
        if machine is not None and shown.issuperset(pair.belts)
    )
    turn = any(page.trend.word in TO_TURN for page in belts)
    vertical = any(d.vertical for d in machine.duties.values()) if machine else None
    says = turning(vertical=vertical or None, pair=bool(pairs)) if turn else plucking()
    return Report(
        machine=title or "Belts",
        made=dt.datetime.now(dt.UTC),
        program=program(),
        belts=belts,
        pairs=pairs,
        cautions=says,
        note=machine.note if machine else None,
        left_out=len(names) - len(belts),
        studies=tuple(_study_pages(machine, history)) if machine is not None else (),
    )


def _study_pages(machine: Machine, history: History) -> Iterator[StudyPage]:
    """Yield one page a study."""
    for name in studied(machine):
        try:
            yield StudyPage(name, study_of(machine, name, lambda: History(history.path)))
        except BeltpitchError as error:
            yield StudyPage(name, None, error.message)


def _only_machine(history: History, name: str | None) -> str:
    known = list(dict.fromkeys(owner for owner, _ in history.belts()))
    if name is not None and name not in known:
        raise RequestError(f'no reading of a machine "{name}" in the book {history.path}')
    if name is not None:
        return name
    if len(known) != 1:
        there = ", ".join(known) if known else "none yet"
        raise RequestError(
            f"which machine? give --machine FILE or --of NAME; in the book are: {there}"
        )
    return known[0]


def _belt_page(history: History, title: str, machine: Machine | None, name: str) -> BeltPage:
    entries = history.entries(Filter(machine=title, belt=name), most=MOST)
    about, fault, kind = About(), "", ""
    if machine is not None and name in machine.belts:
        try:
            made = machine.named(name)
            about, kind = _about(machine, made), made.belt.name
        except RequestError as error:
            fault = f"the machine file does not make this belt: {error.message}"
    found = trend(entries, about)
    latest = next((e for e in entries if e.estimates.preload is not None), None)
    reading = latest.record["reading"] if latest else {}
    return BeltPage(
        name=name,
        kind=str(reading.get("belt") or kind),
        trend=found,
        latest=latest,
        entries=tuple(entries[:READINGS_SHOWN]),
        next_step=_next_step(latest, found),
        sources=tuple(reading.get("sources") or ()),
        fault=fault,
    )


def _next_step(latest: Entry | None, found: Trend) -> str:
    """Return what to do with the belt as it stands now, by the window of today."""
    if latest is None:
        return "Pluck it: nothing was read yet."
    reading = reading_from(latest.record, latest.estimates)
    return judged(replace(reading, preload=found.level), found.window).next_step


def _pair_page(machine: Machine, name: str, belts: Sequence[BeltPage]) -> PairPage:
    pair = machine.pairs[name]
    pages = {page.name: page for page in belts}
    first, second = (pages[n] for n in pair.belts)
    if first.latest is None or second.latest is None:
        silent = " and ".join(p.name for p in (first, second) if p.latest is None)
        return PairPage(name, pair.belts, None, f"not yet known: no reading of {silent}")
    if first.fault or second.fault:
        return PairPage(name, pair.belts, None, "not yet known: see its belts")
    a, b = (
        reading_from(page.latest.record, page.latest.estimates, made.belt, made.span)
        for page, made in zip((first, second), machine.both(name), strict=True)
        if page.latest is not None
    )
    share = parse(pair.within or WITHIN_PAIR, PERCENT, option="within").value
    rolls = [machine.belts[n].roll for n in pair.belts]
    match = compare(a, b, names=pair.belts, within=share, one_roll=rolls[0] == rolls[1])
    return PairPage(name, pair.belts, match, str(match))


# --- words --------------------------------------------------------------------------------------


def interval_words(estimate: Estimate, unit: str, per: float = 1.0, what: str = "") -> str:
    """Return a force, or a rate of it, with its interval in words."""
    low, high = (in_unit(n * per, unit, FORCE) for n in estimate.interval(COVERAGE))
    value = in_unit(estimate.value * per, unit, FORCE)
    digits = "z.1f" if high - low >= 1 else "z.2f"  # z: never "-0.0"
    sign = "+" if what else ""
    return (
        f"{value:{sign}{digits}} {unit}{what} (95 %: {low:{sign}{digits}} to "
        f"{high:{sign}{digits}} {unit})"
    )


def day(when: dt.datetime | None) -> str:
    """Return a date in local time."""
    return "" if when is None else when.astimezone().strftime("%Y-%m-%d")


def trend_words(found: Trend, unit: str) -> list[tuple[str, str]]:
    """Return what a trend tells as labelled lines."""
    lines: list[tuple[str, str]] = []
    if found.level is not None:
        lines.append(("preload", f"{interval_words(found.level, unit)}   {found.word}"))
    if found.window is not None:
        low, high = (
            "not known" if end is None else force(end, unit)
            for end in (found.window.low_n, found.window.high_n)
        )
        lines.append(("window", f"{low} to {high}"))
    lines.append(("drift", _drift_words(found, unit)))
    if found.change is not None:
        lines.append(
            ("last change", interval_words(found.change, unit, what=" since the one before"))
        )
    if not found.holds:
        lines.append(("held", DOES_NOT_HOLD))
    lines.append(("leaves", _leaving_words(found)))
    if found.next_check is not None:
        lines.append(("next check", f"{day(found.next_check)}: {found.why}"))
    lines += [("uncertainty", found.doubt)] if found.doubt else []
    lines += [("note", words) for words in found.notes]
    return [(label, words) for label, words in lines if words]


DOES_NOT_HOLD = (
    "this belt does not hold its tension: look for a clamp that slips, a screw that turns back, "
    "teeth that jump, frayed cords"
)


def _drift_words(found: Trend, unit: str) -> str:
    used = sum(p.used for p in found.points)
    if found.drift is None:
        return "not to be told yet: it takes two readings on different days"
    words = interval_words(found.drift, unit, MONTH_DAYS, " a month")
    low, high = found.drift.interval(COVERAGE)
    if low <= 0 <= high:
        words += "; cannot be told from none"
    return f"{words}, from {used} readings"


def _leaving_words(found: Trend) -> str:
    if found.leaves is None and found.leaves_earliest is None:
        return ""
    if found.leaves is None:
        return f"its window not at this rate; at the worst {day(found.leaves_earliest)}"
    return f"its window {day(found.leaves)} at this rate, at the worst {day(found.leaves_earliest)}"


# --- the page -----------------------------------------------------------------------------------


def html_of(report: Report, unit: str = "N") -> str:
    """Return the report as one HTML page."""
    from jinja2 import Environment, StrictUndefined

    source = Path(__file__).with_name(TEMPLATE).read_text(encoding="utf-8")
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.globals.update(
        force=lambda n: "" if n is None else force(n, unit),
        interval=lambda x: interval_words(x, unit),
        day=day,
        local=lambda when: when.astimezone().strftime("%Y-%m-%d %H:%M"),
        trend_words=lambda found: trend_words(found, unit),
        picture=_embedded,
    )
    return environment.from_string(source).render(
        report=report,
        summary=_summary(report),
        rulers={page.name: ruler_figure([_row(page)], unit) for page in report.belts},
        trends={
            page.name: trend_figure(page.trend, page.name, unit)
            for page in report.belts
            if page.trend.points
        },
        pairs={
            pair.name: ruler_figure(
                [_row(page) for name in pair.belts for page in report.belts if page.name == name],
                unit,
            )
            for pair in report.pairs
        },
        sources=_sources(report.belts),
        drawn=_study_pictures(report, unit),
    )


def _study_pictures(report: Report, unit: str) -> dict[str, list[Picture]]:
    """Return the pictures of each study, one for each result."""
    made = [page for page in report.studies if page.study is not None]
    if not made:
        return {}

    return {
        page.name: [study_figure(page.study, i, unit) for i in range(len(page.study.answers))]
        for page in made
        if page.study is not None
    }


def _embedded(picture: Picture) -> dict[str, str]:
    """Return a picture as the address and the words of an image."""
    data = base64.b64encode(svg_of(picture)).decode("ascii")
    return {"src": f"data:image/svg+xml;base64,{data}", "alt": picture.alt}


def _row(page: BeltPage) -> RulerRow:
    plucks: tuple[float, ...] = ()
    preload = None
    if page.latest is not None:
        told = (p["tension_n"] for p in page.latest.record["reading"]["plucks"] if p["used"])
        plucks = tuple(n for n in told if n is not None)
        preload = page.latest.estimates.preload
    return RulerRow(page.name, preload, plucks, page.trend.window, page.trend.word)


def _summary(report: Report) -> list[dict[str, Any]]:
    """Return what to do next and when, the most urgent first."""
    rank = {"over": 0, "slack": 1, "tight": 1, "cannot tell": 2, "within": 3}
    far = dt.datetime.max.replace(tzinfo=dt.UTC)
    order = sorted(
        report.belts, key=lambda p: (rank[p.trend.word], p.trend.next_check or far, p.name)
    )
    return [
        {
            "belt": page.name,
            "word": page.trend.word,
            "step": page.next_step if page.trend.holds else f"{page.next_step} {DOES_NOT_HOLD}.",
            "next": day(page.trend.next_check) or "now",
            "why": page.trend.why,
        }
        for page in order
    ]


def _sources(belts: Iterable[BeltPage]) -> list[str]:
    return list(dict.fromkeys(source for page in belts for source in page.sources))


def write(report: Report, path: Path, unit: str = "N") -> None:
    """Write the page.

    Raises
    ------
    RequestError
        If the file cannot be written.
    """
    try:
        path.write_text(html_of(report, unit), encoding="utf-8")
    except OSError as error:
        raise RequestError(f"{path} cannot be written: {error.strerror or error}") from None


# --- to PDF -------------------------------------------------------------------------------------


def browser() -> str | None:
    """Return a Chromium or its kin that can print, if one is at hand."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def print_pdf(report: Report, path: Path, unit: str = "N") -> None:
    """Print the page to a PDF file with the Chromium at hand, without any network.

    Raises
    ------
    RequestError
        If there is none.
    CannotTell
        If it does not print.
    """
    program_path = browser()
    if program_path is None:
        raise RequestError(
            "no Chromium, Chrome or Edge is at hand to print a PDF: write the .html, open it in "
            "any browser and print it there"
        )
    with tempfile.TemporaryDirectory(prefix="beltpitch-") as folder:
        page = Path(folder) / "report.html"
        write(report, page, unit)
        command = [program_path, *browser_options(Path(folder)), "--no-pdf-header-footer"]
        command += [f"--print-to-pdf={path.resolve()}", page.as_uri()]
        try:
            done = subprocess.run(
                command, capture_output=True, timeout=PRINT_TIMEOUT_S, check=False
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            raise CannotTell(f"{program_path} does not print: {error}") from None
    if done.returncode or not path.exists():
        raise CannotTell(
            f"{program_path} could not print the page (exit {done.returncode}); write the .html "
            "and print it from a browser"
        )


def browser_options(profile: Path) -> list[str]:
    """Return the options that keep a browser to itself: no screen, no network, no old profile."""
    options = [
        "--headless",
        "--disable-gpu",
        "--disable-background-networking",
        "--disable-extensions",
        "--no-first-run",
        f"--user-data-dir={profile / 'profile'}",
    ]
    # Chromium refuses its own sandbox to root, as in containers; the page can run no script.
    is_root = hasattr(os, "geteuid") and os.geteuid() == 0
    return [*options, "--no-sandbox"] if is_root else options
