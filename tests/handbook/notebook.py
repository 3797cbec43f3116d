"""Run docs/python.ipynb as a person would, and write docs/python.md from what it printed.

The notebook is kept without outputs, so that a look at its changes shows what was changed; the
page holds cells and outputs. `run` starts a kernel of its own in a folder with the demo's
recordings.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests import readme

NOTEBOOK = readme.DOCS / "python.ipynb"
PAGE = readme.DOCS / "python.md"
LONGEST_S = 120


def stored() -> Any:
    """Return the notebook as it is kept."""
    import nbformat

    return nbformat.reads(NOTEBOOK.read_text("utf-8"), as_version=4)  # type: ignore[no-untyped-call]


def run() -> Any:
    """Return the notebook, run from its first cell to its last.

    Raises
    ------
    nbclient.exceptions.CellExecutionError
        If a cell fails.
    """
    from nbclient import NotebookClient

    made = stored()
    path = os.pathsep.join([str(readme.ROOT), os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep)
    with TemporaryDirectory() as folder, readme.environment(PYTHONPATH=path, NO_COLOR="1"):
        shutil.copytree(readme.plover(), Path(folder) / "plover")
        resources = {"metadata": {"path": folder}}
        NotebookClient(
            made, timeout=LONGEST_S, kernel_name="python3", resources=resources
        ).execute()
    return made


def page(made: Any) -> str:
    """Return the page of the handbook for a notebook that was run."""
    return "\n\n".join(part for cell in made.cells for part in _parts(cell)) + "\n"


def _parts(cell: Any) -> list[str]:
    if cell.cell_type == "markdown":
        return [cell.source.strip()]
    shown = "".join(_text(output) for output in cell.outputs).rstrip()
    code = f"```python\n{cell.source.strip()}\n```"
    return [code, f"```text\n{shown}\n```"] if shown else [code]


def _text(output: Any) -> str:
    if output.output_type == "stream":
        return str(output.text)
    return str(output.data["text/plain"]) + "\n"
