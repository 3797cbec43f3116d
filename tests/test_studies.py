"""The evidence for studies: the table on the page is fresh, and a share of it comes out again."""

from __future__ import annotations

import contextlib
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

from calibration import evidence, studies, study_pictures

UNLIKELY = 1e-3  # of a re-run being outside what the table allows, by chance
SHARE = 12  # studies of each kind made again; the same seeds as the table's first


def kept() -> evidence.Kept:
    return next(t for t in evidence.kept_tables(evidence.STUDY) if t.name == "studies")


def test_the_table_has_every_kind_with_a_thousand_studies() -> None:
    table = kept()
    rows = table.record["rows"]
    assert set(rows) == {f"{kind} {noise:g}" for kind, noise, _ in studies.cells_of(1)}
    assert {row["count"] for row in rows.values()} == {1000}


@pytest.mark.parametrize(
    ("kind", "noise"), [("parabola", 0.1), ("machine", 0.1), ("falling", 0.1), ("flat", 0.1)]
)
def test_a_share_of_the_table_comes_out_again(kind: str, noise: float) -> None:
    table = kept()
    told = table.record["rows"][f"{kind} {noise:g}"]
    made = [studies.study(kind, noise, i, table.record["seed"]) for i in range(SHARE)]
    got = studies.counts(made)
    for key in ("optimum", "upper_edge", "close"):
        share = (told[key] + 1) / (told["count"] + 2)
        assert binom.cdf(got[key], SHARE, share) > UNLIKELY, key
        assert binom.sf(got[key] - 1, SHARE, share) > UNLIKELY, key


def test_the_simulated_machines_are_scaled_and_of_their_kind() -> None:
    for kind in studies.KINDS:
        for i in range(20):
            made = studies.machine(kind, np.random.default_rng([i, 3]))
            window = (made.tension_n >= made.low_n) & (made.tension_n <= made.high_n)
            inside = made.result[window]
            assert inside.min() == pytest.approx(0)
            assert inside.max() == pytest.approx(0 if kind == "flat" else 1)
            best = made.best(made.low_n, made.high_n)
            place = (best - made.low_n) / (made.high_n - made.low_n)
            if kind == "parabola":
                assert 0.24 < place < 0.76
            elif kind == "falling":
                assert place > 0.99


def test_the_pictures_on_the_page_are_those_the_script_draws(tmp_path: Path) -> None:
    with contextlib.chdir(tmp_path):
        made = study_pictures.made(tmp_path)
    names = set(study_pictures.pictures(made))
    assert names == {path.name for path in evidence.STUDY.parent.glob("study-*.png")}
    text = evidence.STUDY.read_text(encoding="utf-8")
    assert all(f"({name})" in text for name in names)
