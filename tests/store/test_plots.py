"""The pictures: what stands on them, the same each time, and in words."""

from __future__ import annotations

import base64
import re
from pathlib import Path

import numpy as np
import pytest

from beltpitch.advice.window import Window
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.errors import RequestError
from beltpitch.present.plots import (
    COLOURS,
    FLOOR_DB,
    Picture,
    PluckView,
    RulerRow,
    hang_figure,
    pluck_figure,
    ruler_figure,
    save,
    svg_of,
    trend_figure,
)
from beltpitch.present.report import _embedded
from beltpitch.store.trend import About, trend
from beltpitch.uncertainty import Estimate
from tests.store.test_trend import reading, straight

RATE = 8000.0
WINDOW = Window(30.0, 50.0, "a", "b")
ROW = RulerRow(
    "y-left", Estimate.single(40.0, 2.0, name="a", key="a"), (39.0, 41.0), WINDOW, "within"
)


def markers(picture: Picture, axes: int = 0) -> list[tuple[str, list[float]]]:
    """Return marker and x values of every line drawn."""
    lines = picture.figure.axes[axes].get_lines()
    return [(str(ln.get_marker()), np.asarray(ln.get_xdata(), float).tolist()) for ln in lines]


def test_a_ruler_has_window_plucks_mean_and_bar_in_the_unit_asked_for() -> None:
    picture = ruler_figure([ROW])
    found = markers(picture)
    assert ("|", [39.0, 41.0]) in found
    assert ("D", [40.0]) in found
    (bar,) = [p for p in picture.figure.axes[0].patches if p.get_hatch()]
    assert bar.get_extents().width > 0
    pounds = dict(markers(ruler_figure([ROW], "lbf")))
    assert pounds["D"] == pytest.approx([40 / 4.4482216152605])
    assert "40.0 N, 95 % interval 36.1 to 43.9 N, window 30.0 N to 50.0 N; within." in picture.alt


def test_two_belts_stand_on_one_axis() -> None:
    picture = ruler_figure([ROW, ROW])
    assert len(picture.figure.axes) == 1
    assert picture.alt.count("y-left") == 2


def test_a_belt_without_a_reading_and_an_open_window_are_drawn_and_said() -> None:
    rows = [
        RulerRow("a", None, (), WINDOW, "cannot tell"),
        RulerRow("b", ROW.preload, (), Window(30.0, None, "a", ""), "cannot tell"),
        RulerRow("c", ROW.preload, (), Window(None, 50.0, "", "b"), "cannot tell"),
        RulerRow("d", ROW.preload, (), None, "cannot tell"),
    ]
    picture = ruler_figure(rows)
    svg_of(picture)
    assert "a: no reading." in picture.alt
    assert "window 30.0 N to unknown" in picture.alt
    texts = [t.get_text() for t in picture.figure.axes[0].texts]
    assert texts.count("end not known") == 2


def test_a_verdict_is_told_by_word_beside_its_colour() -> None:
    labels = [t.get_text() for t in ruler_figure([ROW]).figure.axes[0].get_yticklabels()]
    assert labels == ["y-left\nwithin"]
    assert len(set(COLOURS.values())) == 4


def test_a_trend_shows_readings_line_window_and_events() -> None:
    entries = straight([0, 30, 60], 36.0)
    entries += [reading(i, 30 * i, 46 - 0.6 * i) for i in (3, 4, 5)]
    entries[3] = reading(3, 90, 46 - 0.6 * 3, event="tensioned")
    found = trend(entries, About(window=WINDOW))
    picture = trend_figure(found, "y-left")
    axes = picture.figure.axes[0]
    assert [t.get_text() for t in axes.texts] == ["tensioned"]
    labels = [t.get_text() for t in axes.get_legend().get_texts()]  # type: ignore[union-attr]
    assert {"window", "robust line", "readings of the line", "readings before"} <= set(labels)
    assert re.search(r"6 readings from 2026-03-01 to .*drift -0\.60 N a month", picture.alt)
    svg_of(picture)


@pytest.mark.parametrize("days", [[], [0.0], [0.0, 0.0]])
def test_a_trend_of_next_to_nothing_is_drawn_without_complaint(days: list[float]) -> None:
    picture = trend_figure(trend(straight(days)), "y")
    assert svg_of(picture).startswith(b"<?xml")
    assert "no reading yet" in picture.alt or "no drift can be told yet" in picture.alt


def test_the_same_picture_is_the_same_bytes_without_date_font_or_script() -> None:
    first, second = (svg_of(trend_figure(trend(straight([0, 30, 60])), "y")) for _ in range(2))
    assert first == second
    assert b"<script" not in first
    assert b"<text" not in first
    assert b"dc:date" not in first


@pytest.mark.parametrize(
    "name", ["a $x_1$ b", "<script>alert(1)</script>", "\\frac{1}{2}", "x" * 200]
)
def test_any_name_is_drawn_as_it_stands(name: str) -> None:
    picture = trend_figure(trend(straight([0, 30])), name)
    svg = svg_of(picture)
    assert b"<script" not in svg
    embedded = _embedded(picture)["src"]
    head, _, data = embedded.partition(",")
    assert head == "data:image/svg+xml;base64"
    assert base64.b64decode(data).startswith(b"<?xml")
    assert picture.figure.axes[0].get_title(loc="left").startswith(name[:20])


# --- a pluck -------------------------------------------------------------------------------------


def view(**more: object) -> PluckView:
    samples = pluck_recording(94.6, plucks=1, decay_s=0.25, noise=1e-3, seed=3, rate_hz=RATE)
    fields: dict[str, object] = {
        "samples": samples,
        "rate_hz": RATE,
        "onset_s": 1.0,
        "used_s": (0.02, 0.6),
        "partials": ((1, 94.6), (2, 189.4)),
        "steady_hz": (50.0, 3999.0),
        "title": "y-left, pluck 1",
    }
    return PluckView(**{**fields, **more})  # type: ignore[arg-type]


def test_a_pluck_shows_its_used_part_partials_and_what_was_set_aside() -> None:
    picture = pluck_figure(view())
    assert len(picture.figure.axes) == 2
    assert ("v", [94.6]) in markers(picture, 1)
    assert ("v", [189.4]) in markers(picture, 1)
    assert ("None", [50.0, 50.0]) in markers(picture, 1)
    assert not any(3999.0 in x for _, x in markers(picture, 1))  # beyond what is drawn
    assert "partials at 94.6, 189.4 Hz" in picture.alt
    assert "0.02 to 0.60 s" in picture.alt


def test_the_spectrum_peaks_where_the_belt_sounds() -> None:
    line = pluck_figure(view()).figure.axes[1].get_lines()[0]
    hertz, level = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
    near = np.abs(hertz - 94.6) < 3
    assert level[near].max() > level[(hertz > 110) & (hertz < 170)].max() + 10
    assert level.max() == pytest.approx(0.0)
    assert FLOOR_DB < 0


def test_a_refused_pluck_and_a_short_one_are_drawn_too() -> None:
    picture = pluck_figure(view(used_s=None, partials=(), steady_hz=(), samples=np.zeros(40)))
    svg_of(picture)
    assert "no part of it was used" in picture.alt


def test_the_spectrogram_comes_from_librosa_on_request() -> None:
    picture = pluck_figure(view(), spectrogram=True)
    assert len(picture.figure.axes) == 3
    mesh = picture.figure.axes[2].collections[0]
    assert np.asarray(mesh.get_array()).max() == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("suffix", "start"), [(".png", b"\x89PNG"), (".svg", b"<?xml"), (".pdf", b"%PDF")]
)
def test_a_picture_is_written_as_its_name_says(tmp_path: Path, suffix: str, start: bytes) -> None:
    path = tmp_path / f"x{suffix}"
    save(ruler_figure([ROW]), path)
    assert path.read_bytes().startswith(start)


def test_a_picture_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match=r"written as \.png, \.svg, \.pdf"):
        save(ruler_figure([ROW]), tmp_path / "x.gif")
    with pytest.raises(RequestError, match="cannot be written"):
        save(ruler_figure([ROW]), tmp_path / "no" / "x.png")


def test_hung_weights_are_drawn_with_their_residuals(tmp_path: Path) -> None:
    from beltpitch.belts.hung_weights import KnownFigures, Row, calibrate

    tones = ((0.264, 26.42), (0.512, 35.97), (1.023, 49.99), (2.046, 69.92), (3.917, 96.20))
    rows = [Row(m, 1e-3, f, 3e-3 * f, 0.3) for m, f in tones]
    found = calibrate(rows, name="y-left roll", known=KnownFigures())
    picture = hang_figure(found, "lbf")
    assert "0.264 kg 26.42 Hz" in picture.alt
    upper, lower = picture.figure.axes
    assert "lbf" in lower.get_xlabel()
    assert [t.get_text() for t in upper.get_yticklabels()] == ["50", "100"]
    assert len(lower.get_lines()) == 3 + len(rows)
    save(picture, tmp_path / "hang.svg")
    assert (tmp_path / "hang.svg").stat().st_size > 0
