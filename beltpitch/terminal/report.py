"""``beltpitch report``: one page for a machine, to print or send."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from beltpitch.errors import RequestError
from beltpitch.present import report as r
from beltpitch.present.report import Report
from beltpitch.session.verdict import SCHEMA
from beltpitch.store.log import History
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.drawing import print_json
from beltpitch.terminal.history import trend_json


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(report)


def report(
    out: Annotated[
        Path | None, typer.Option("--out", help="The page's file; by default report.html here.")
    ] = None,
    pdf: Annotated[
        bool, typer.Option("--pdf", help="Print it to a PDF, with a Chromium at hand.")
    ] = False,
    of: Annotated[
        str | None, typer.Option("--of", help="Name of the machine, where there is no file of it.")
    ] = None,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """One page of a machine: belts, pairs, trends, last readings, what to do next and when."""
    o.checked_unit(unit)
    path = out or Path("report.pdf" if pdf else "report.html")
    if path.is_dir():
        raise RequestError(f"{path} is a folder: name the file, as in --out report.html")
    file = None if of is not None else k.machine_for(machine)
    with History(k.book_path(book, file), create=file is not None) as history:
        made = r.report_of(history, file, name=of)
    if pdf:
        r.print_pdf(made, path, unit)
    else:
        r.write(made, path, unit)
    if json:
        _print_json(made, path)
    else:
        sys.stderr.write(f"beltpitch: {made.machine}, {len(made.belts)} belts, in {path}\n")


def _print_json(made: object, path: Path) -> None:

    assert isinstance(made, Report)
    record = {
        "machine": made.machine,
        "file": str(path),
        "belts": [trend_json(page.name, page.trend) for page in made.belts],
        "pairs": [
            {"name": p.name, "belts": list(p.belts), "word": p.match.word if p.match else None}
            for p in made.pairs
        ],
    }
    print_json({"schema": SCHEMA, "report": record})
