"""What the page shows of the machine file and the book: names, a belt's trend, the report."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beltpitch.belts.catalogue import profiles
from beltpitch.errors import RequestError
from beltpitch.present import report as r
from beltpitch.present.plots import svg_of, trend_figure
from beltpitch.present.study_plot import study_alt, study_bytes
from beltpitch.present.text import force
from beltpitch.store.log import Entry, Filter, History
from beltpitch.store.trend import MOST, Trend, trend
from beltpitch.study.sources import studied, study_of
from beltpitch.web.uploads import LARGEST_BYTES, TOO_LARGE
from beltpitch.web.worker import Workspace

if TYPE_CHECKING:
    from beltpitch.study.study import Study

ENTRIES_SHOWN = 10
NAMES_SHOWN = 2000  # of a machine file, in a list to choose from


def shop_record(shop: Workspace) -> dict[str, Any]:
    """Return what can be chosen."""
    machine = shop.machine
    belts = list(machine.belts.values())[:NAMES_SHOWN] if machine else []
    pairs = list(machine.pairs.values())[:NAMES_SHOWN] if machine else []
    return {
        "machine": machine.name if machine else None,
        "belts": [
            {"name": b.name, "words": ", ".join(w for w in (b.belt, b.span) if w)} for b in belts
        ],
        "pairs": [{"name": p.name, "words": " and ".join(p.belts)} for p in pairs],
        "studies": list(studied(machine)) if machine else [],
        "catalogue": [p.name for p in profiles()],
        "book": str(shop.book),
        "demo": shop.demo,
        "largest_bytes": LARGEST_BYTES,
        "too_large": TOO_LARGE,
    }


def trend_record(shop: Workspace, belt: str) -> dict[str, Any]:
    """Return what the book tells of a belt.

    Raises
    ------
    RequestError
        If there is no book yet, or it has no reading of that belt.
    """
    entries, found = _trend(shop, belt)
    return {
        "belt": belt,
        "words": [list(line) for line in r.trend_words(found, shop.unit)],
        "alt": trend_figure(found, belt, shop.unit).alt,
        "entries": [_entry(entry, shop.unit) for entry in entries[:ENTRIES_SHOWN]],
    }


def trend_svg(shop: Workspace, belt: str) -> bytes:
    """Return the picture of a belt's trend.

    Raises
    ------
    RequestError
        As `trend_record` does.
    """
    return svg_of(trend_figure(_trend(shop, belt)[1], belt, shop.unit))


def study_record(shop: Workspace, name: str) -> dict[str, Any]:
    """Return what the trials of a belt or a pair have shown.

    Raises
    ------
    RequestError
        If there is no study of that name, or it cannot be read.
    CannotTell
        If nothing can be judged yet.
    """
    made = _study(shop, name)
    words = [*((a.finding.measure.name, a.sentence) for a in made.answers), *made.refused]
    if made.chosen_n is not None:
        words.append(("set", f"{force(made.chosen_n, shop.unit)}: {made.chosen_why}"))
    words += [("together", made.agreement)] if made.agreement else []
    words += [("note", note) for note in made.notes]
    return {
        "name": name,
        "words": [list(line) for line in words],
        "pictures": [study_alt(made, k, shop.unit) for k in range(len(made.answers))],
    }


def study_svg(shop: Workspace, name: str, index: int) -> bytes:
    """Return the picture of one result of a study.

    Raises
    ------
    RequestError, CannotTell
        As `study_record` does, or if there is no such result.
    """
    return study_bytes(_study(shop, name), index, shop.unit)


def _study(shop: Workspace, name: str) -> Study:
    machine = shop.machine
    if machine is None or name not in studied(machine):
        raise RequestError(f"the machine file names no study of {name}")
    made = study_of(machine, name, lambda: History(shop.book, create=False))
    assert made is not None, "it is named"
    return made


def report_html(shop: Workspace) -> str:
    """Return the report of the machine.

    Raises
    ------
    RequestError
        If there is no reading to report on.
    """
    with History(shop.book, create=shop.machine is not None) as history:
        return r.html_of(r.report_of(history, shop.machine), shop.unit)


def _trend(shop: Workspace, belt: str) -> tuple[list[Entry], Trend]:
    machine = shop.machine
    with History(shop.book, create=False) as history:
        which = Filter(machine=machine.name if machine else "", belt=belt)
        entries = history.entries(which, most=MOST)
    if not entries:
        raise RequestError(f"the book has no reading of {belt} yet")
    return entries, trend(entries, r.about_belt(machine, belt))


def _entry(entry: Entry, unit: str) -> dict[str, Any]:
    line = entry.line
    return {
        "id": line.id,
        "taken": line.taken.astimezone().strftime("%Y-%m-%d %H:%M"),
        "force": "" if line.preload_n is None else force(line.preload_n, unit),
        "verdict": line.verdict,
        "note": line.note or "",
    }
