"""Draw the pictures of docs/study.md again from the table that stands on that page.

python -m calibration.study_pictures
"""

from __future__ import annotations

import contextlib
import tempfile
from pathlib import Path

from beltpitch.present.plots import save
from beltpitch.present.study_plot import study_figure
from beltpitch.store.log import History
from beltpitch.store.machine_file import load
from beltpitch.study.sources import study_of
from beltpitch.study.study import Study
from calibration.evidence import STUDY
from calibration.page import FILE

NAME = "y"
COLOURS = 128  # of the pictures, to keep them small


def made(folder: Path) -> Study:
    """Return the study whose machine file and table stand on the page."""
    for name, content in FILE.findall(STUDY.read_text(encoding="utf-8")):
        (folder / name).write_text(content, encoding="utf-8")
    machine = load(folder / "beltpitch.toml")
    found = study_of(machine, NAME, History, table=folder / "trials.csv")
    assert found is not None
    return found


def pictures(study: Study) -> dict[str, int]:
    """Return the names of the pictures with the number of the answer each shows."""
    names = [a.finding.measure.name for a in study.answers]
    return {f"study-{name.replace(' ', '-')}.png": i for i, name in enumerate(names)}


def main() -> None:
    """Draw them."""
    from PIL import Image

    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        study = made(Path(folder))
    for name, index in pictures(study).items():
        path = STUDY.parent / name
        save(study_figure(study, index), path)
        with Image.open(path) as image:
            few = image.convert("RGB").quantize(COLOURS)
        few.save(path, optimize=True)
        print(path.name)


if __name__ == "__main__":
    main()
