"""The picture of a study: the same bytes each time, its story in words, every mark named."""

from __future__ import annotations

import numpy as np
import pytest

from beltpitch.errors import RequestError
from beltpitch.present.study_plot import study_alt, study_bytes, study_figure
from beltpitch.study.study import Study, study
from beltpitch.study.trials import Field, Measure, Trial, Trials
from beltpitch.uncertainty import Estimate

LEVELS = np.repeat([20.0, 30, 40, 50, 60], [2, 2, 4, 2, 2])
PAIRED = np.array([0.8, -0.8, 0.7, -0.7, 0.9, -0.9, 0.6, -0.6, 0.7, -0.7, 0.8, -0.8])


@pytest.fixture(scope="module")
def made() -> Study:
    results = 12 + 0.05 * (LEVELS - 38) ** 2 + PAIRED
    results[5] += 12
    every = tuple(
        Trial(i + 1, (Estimate.single(float(t), 0.3, name="tape", key=f"t{i}"),), (float(y),))
        for i, (t, y) in enumerate(zip(LEVELS, results, strict=True))
    )
    field = Field(20, 60, "seating", "allowable", "seating", "allowable")
    return study(Trials("y $left$", (Measure("size error", "um"),), every), field)


def test_it_is_the_same_each_time_and_comes_as_svg_and_png(made: Study) -> None:
    assert study_bytes(made) == study_bytes(made)
    assert study_bytes(made).startswith(b"<?xml")
    assert study_bytes(made, kind="png").startswith(b"\x89PNG")


def test_every_mark_has_its_name(made: Study) -> None:
    figure = study_figure(made).figure
    legend = figure.axes[0].get_legend()
    assert legend is not None
    names = {text.get_text() for text in legend.get_texts()}
    assert {"window", "trials", "stands apart", "try next"} <= names
    assert len([n for n in names if n.endswith("(used)")]) == 1
    assert figure.axes[0].get_xlabel() == "preload as read in this study, N"
    other = study_figure(made, unit="lbf").figure.axes[0]
    assert other.get_xlabel().endswith("lbf")
    assert other.get_xlim()[1] == pytest.approx(figure.axes[0].get_xlim()[1] / 4.448, rel=1e-3)


def test_its_story_is_told_in_words(made: Study) -> None:
    words = study_alt(made, 0)
    assert "12 trials from 20.0 to 60.0 N, window 20.0 to 60.0 N" in words
    assert made.answers[0].sentence in words


def test_there_is_no_picture_of_a_result_that_is_not_there(made: Study) -> None:
    with pytest.raises(RequestError, match="1 results that were judged"):
        study_figure(made, 3)
