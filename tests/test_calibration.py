"""The evidence: the simulator's mechanics, the bound, the counts, and that no table is stale."""

from __future__ import annotations

import ast
import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from beltpitch import units
from beltpitch.belts import catalogue
from calibration import bound, corpus, coverage, efforts, evidence, release, setups, simulator
from calibration.accuracy import OURS, hear, tabulate
from calibration.files import SIMULATED_EVERY, TABLES, Job, no_pluck
from calibration.measures import Outcome, Share, Truth, judge, summarise
from calibration.setups import CLASSES, OCTAVES_HZ, Setup, Wish, setup

DOCUMENTS = [evidence.ACCURACY, evidence.SPEED, evidence.COVERED]
COVERED_AGAIN = 40  # cases of the coverage
UNLIKELY = 1e-3  # of one re-run being outside what the table allows, by chance


# ---------------------------------------------------------------- tables are fresh and repeatable


def test_stale_tables_are_named_at_the_end(
    record_property: Callable[[str, object], None],
) -> None:
    """A warning while the code is worked on; `python -m calibration.release` makes it an error."""
    for document in evidence.DOCUMENTS:
        assert evidence.kept_tables(document)
    record_property("stale tables", ", ".join(evidence.stale()))


def test_a_release_is_refused_while_a_table_is_stale(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "study.md"
    monkeypatch.setattr(evidence, "DOCUMENTS", (page,))
    evidence.keep(page, "studies", "| new |", {"seed": 1, "count": 2})
    assert release.main([]) == 0
    page.write_text(re.sub('"digest": "....', '"digest": "0000', page.read_text()))
    assert release.main([]) == 1
    assert "study.md: studies" in capsys.readouterr().err
    assert release.main(["--stamp", "the answers are the same", str(page)]) == 0
    (table,) = evidence.kept_tables(page)
    assert table.record["stamped"] == "the answers are the same"
    assert table.record["digest"][:12] in table.text
    assert table.text.count("| new |") == table.text.count("*seed 1") == 1


def test_the_coverage_knows_the_figures_of_its_belts_and_no_others() -> None:
    figures = setups.catalogue_figures()
    known = catalogue.belt("2GT", width_m=0.009, construction="rubber, glass cord")
    assert known.ea_n is not None
    assert known.ea_n.value in figures
    other = catalogue.belt("2GT", width_m=0.0101, construction="rubber, glass cord")
    assert other.ea_n is not None
    assert other.ea_n.value not in figures


def test_every_accuracy_table_is_kept() -> None:
    kept = {table.name for table in evidence.kept_tables(evidence.ACCURACY)}
    assert kept >= {"efficiency", *(table.name for table in TABLES)}


@pytest.mark.parametrize(("name", "count"), [("belts", 40), ("real-kept", 48)])
def test_a_fixed_share_of_the_table_comes_out_again(name: str, count: int) -> None:
    from scipy.stats import binom

    kept = next(t for t in evidence.kept_tables(evidence.ACCURACY) if t.name == name)
    results = [hear(Job(name, index, kept.record["seed"])) for index in range(count)]
    rows = kept.record["rows"]
    for group in {result.groups[0] for result in results}:
        told = rows[group]
        got = summarise([r.outcomes[OURS] for r in results if r.groups[0] == group])
        # One more hit and one more miss: a table with none is not proof that there are none.
        answers = (told["answered"] + 1) / (told["count"] + 2)
        assert binom.cdf(got.answered.hits, got.count, answers) > UNLIKELY
        wrong = (told["wrong"] + 1) / (told["answered"] + 2)
        assert binom.sf(got.wrong.hits - 1, got.answered.hits, wrong) > UNLIKELY
        close = (told["within_half_percent"] + 1) / (told["answered"] + 2)
        assert binom.cdf(got.within[1].hits, got.answered.hits, close) > UNLIKELY


def test_no_more_numbers_without_a_pluck_than_the_table_says() -> None:
    """Of the simulated rooms: the recorded ones are not in the project."""
    from scipy.stats import binom

    kept = next(t for t in evidence.kept_tables(evidence.ACCURACY) if t.name == "no-pluck")
    told = kept.record["rows"]["simulated"]
    jobs = [Job("no-pluck", SIMULATED_EVERY * turn, kept.record["seed"]) for turn in range(24)]
    numbers = sum(hear(job).outcomes[OURS].answered for job in jobs)
    likely = (told["answered"] + 1) / (told["count"] + 2)
    assert binom.sf(numbers - 1, len(jobs), likely) > UNLIKELY


def test_a_fixed_share_of_the_coverage_comes_out_again() -> None:
    from scipy.stats import binom

    kept = next(t for t in evidence.kept_tables(evidence.COVERED) if t.name == "classes")
    told = kept.record["rows"]["all"]
    wanted = coverage.wishes()["classes"][:COVERED_AGAIN]
    made = coverage.measured(wanted, kept.record["seed"], 1)
    got = coverage.row(list(made.values()))
    assert got.cases == COVERED_AGAIN
    answers = (told["answered"] + 1) / (told["cases"] + 2)
    assert binom.cdf(got.answered, got.cases, answers) > UNLIKELY
    held = (told["covered"] + 1) / (told["answered"] + 2)
    assert binom.cdf(got.covered, got.answered, held) > UNLIKELY


def test_the_coverage_that_is_kept_is_what_was_aimed_at() -> None:
    tables = {t.name: t.record for t in evidence.kept_tables(evidence.COVERED)}
    low, high = coverage.SOUGHT
    rows = tables["classes"]["rows"]
    for name in (*CLASSES, *(n for n in rows if n.endswith("Hz"))):
        share = Share(rows[name]["covered"], rows[name]["answered"])
        lower, upper = share.limits()
        assert lower <= high, name
        assert upper >= low, name
    for name, row in tables["held"]["rows"].items():
        assert Share(row["covered"], row["answered"]).limits()[1] >= coverage.FLOOR, name


def test_the_tables_hold_two_thousand_of_every_class_and_octave() -> None:
    every = coverage.wishes()["classes"]
    for kind in CLASSES:
        assert sum(wish.kind == kind for wish in every) >= 2000
    for octave in range(len(OCTAVES_HZ) - 1):
        assert sum(wish.octave == octave for wish in every) >= 2000
    assert len({(wish.table, wish.index) for wish in every}) == len(every)


def test_a_setup_says_what_is_true_with_the_doubts_it_states() -> None:
    kind = next(iter(CLASSES))
    made = [setup(Wish("t", i, kind, 2, weighed=True, clamped=True), 1) for i in range(200)]
    assert made[0] == setup(Wish("t", 0, kind, 2, weighed=True, clamped=True), 1)
    off = []
    for each in made:
        given = units.parse(each.span, units.LENGTH)
        assert given.u == pytest.approx(0.2e-3)
        off.append((given.value - each.case.span_m) / 0.2e-3)
    assert np.std(off) == pytest.approx(1.0, abs=0.15)
    assert {each.ends for each in made} == {"clamp"}
    assert all(each.case.hold == 1 for each in made)
    loose = [setup(Wish("t", i, kind, 2, clamped=False), 1).case.hold for i in range(200)]
    assert np.mean(loose) == pytest.approx(1 / 3, abs=0.06)


def test_a_clamp_against_a_pulley_is_said_and_sounds_between_the_two() -> None:
    kind = next(iter(CLASSES))
    made = setup(Wish("t", 3, kind, 2, hold=0.25, mixed=True), 1)
    assert made.ends == "clamp,pulley"
    assert (made.case.hold, made.case.far_hold) == (0.25, 1.0)
    low, high = (replace(made.case, hold=h, far_hold=h).frequency_hz for h in (0.25, 1.0))
    assert low < made.case.frequency_hz < high
    wanted = [wish for wish in coverage.wishes()["held"] if wish.mixed]
    assert len(wanted) == coverage.HELD
    text, rows = coverage.held_table(
        {"held mixed/0": coverage.Result(40.0, 50.0, 90.0, True, False, 1, 40.0, 39.0, 41.0, "")}
    )
    assert rows["named clamp and a pulley"].covered == 1
    assert "| named clamp and a pulley | 1 |" in text


def test_what_three_percent_would_take_is_counted_for_every_effort() -> None:
    text, rows, count = efforts.table(1, 5)
    assert count == len(CLASSES) * (len(OCTAVES_HZ) - 1)
    for effort in efforts.EFFORTS:
        mine = [row for name, row in rows.items() if name.endswith(f", {effort.words}")]
        assert sum(row.answered for row in mine) == pytest.approx(count, abs=1)
        assert sum(row.covered for row in mine) >= 0.8 * count  # 95 % of 20: 15 or less is unheard
        assert text.count(f"| {effort.words} |") == len(mine)
    made = next(efforts.setups(1, 5))
    one, parks = (
        efforts.measured(made, effort, np.random.default_rng(1)).half
        for effort in (efforts.EFFORTS[0], efforts.EFFORTS[-1])
    )
    assert one is not None
    assert parks is not None
    assert parks < one


def test_a_run_that_was_stopped_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def measure(made: Setup) -> coverage.Result:
        asked.append(made.wish.table)
        return coverage.Result(40.0, 50.0, 90.0, True, False, 1, 40.0, 39.0, 41.0, "ends")

    monkeypatch.setattr(coverage, "measure", measure)
    file = tmp_path / "kept.jsonl"
    wanted = coverage.wishes(0.002)["classes"]
    first = coverage.measured(wanted[:4], 1, 1, file)
    file.write_text(file.read_text() + '{"key": "cut o')
    whole = coverage.measured(wanted[:6], 1, 1, file)
    assert len(asked) == 6
    assert first.items() <= whole.items()
    coverage.measured(wanted[:6], 2, 1, file)  # another seed begins anew
    assert len(asked) == 12
    got = coverage.row([*whole.values()])
    assert (got.covered, got.below, got.above, got.within) == (6, 0, 0, 6)


def test_a_table_is_replaced_in_place_and_the_text_around_it_stays(tmp_path: Path) -> None:
    document = tmp_path / "accuracy.md"
    document.write_text("before\n\n<!-- table a {} -->\nold\n<!-- end a -->\n\nafter\n")
    evidence.keep(document, "a", "| new |", {"seed": 1, "count": 2})
    evidence.keep(document, "b", "| more |", {"seed": 1, "count": 2})
    text = document.read_text()
    assert text.startswith("before\n")
    assert "old" not in text
    assert text.index("| new |") < text.index("after") < text.index("| more |")
    first, second = evidence.kept_tables(document)
    assert (first.name, second.name) == ("a", "b")
    assert first.record["digest"] == evidence.digest(document, "a")


# ---------------------------------------------------------------- the simulator


def test_the_simulator_knows_nothing_of_the_program() -> None:
    tree = ast.parse(Path(simulator.__file__).read_text(encoding="utf-8"))
    modules = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    modules |= {
        alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    }
    assert not [name for name in modules if name.startswith("beltpitch")]


# Physics notes of the project, table of f_1/f_s (exact roots, agreed with a beam of 200 finite
# elements), and the design page for ends in between (xi = 20, kappa 0.5 and 1).
@pytest.mark.parametrize(
    ("xi", "hold", "ratio"),
    [
        (5, 0.0, 1.181010),
        (5, 1.0, 1.805079),
        (10, 1.0, 1.304853),
        (20, 0.0, 1.012262),
        (20, 1.0, 1.124780),
        (20, 0.5 / 1.5, 1.046614),
        (20, 0.5, 1.064914),
        (100, 1.0, 1.020915),
    ],
)
def test_mode_1_of_a_stiff_span(xi: float, hold: float, ratio: float) -> None:
    found = simulator.span_modes(xi**2, 1.0, 1.0, 1.0, hold, 1)[0]
    assert found / (xi / 2) == pytest.approx(ratio, abs=1e-6)


@pytest.mark.parametrize(
    ("hold", "far"), [(0.0, None), (0.4, None), (1.0, None), (0.4, 1.0), (1.0, 0.0), (0.2, 0.6)]
)
def test_higher_modes_solve_the_beam_equation(hold: float, far: float | None) -> None:
    """Finite elements (Hermite beam) with springs at the ends."""
    from scipy.linalg import eigh

    xi, elements = 25.0, 60
    side = 1 / elements
    tension = xi**2
    size = 2 * elements + 2
    stiff, mass = np.zeros((size, size)), np.zeros((size, size))
    bend = (
        np.array(
            [
                [12, 6 * side, -12, 6 * side],
                [6 * side, 4 * side**2, -6 * side, 2 * side**2],
                [-12, -6 * side, 12, -6 * side],
                [6 * side, 2 * side**2, -6 * side, 4 * side**2],
            ]
        )
        / side**3
    )
    pull = np.array(
        [
            [36, 3 * side, -36, 3 * side],
            [3 * side, 4 * side**2, -3 * side, -(side**2)],
            [-36, -3 * side, 36, -3 * side],
            [3 * side, -(side**2), -3 * side, 4 * side**2],
        ]
    ) * (tension / (30 * side))
    inertia = np.array(
        [
            [156, 22 * side, 54, -13 * side],
            [22 * side, 4 * side**2, 13 * side, -3 * side**2],
            [54, 13 * side, 156, -22 * side],
            [-13 * side, -3 * side**2, -22 * side, 4 * side**2],
        ]
    ) * (side / 420)
    for element in range(elements):
        part = slice(2 * element, 2 * element + 4)
        stiff[part, part] += bend + pull
        mass[part, part] += inertia
    held = [0, size - 2]
    for turn, end in ((1, hold), (size - 1, hold if far is None else far)):
        if end == 1:
            held.append(turn)
        else:
            stiff[turn, turn] += end / (1 - end) * xi
    free = [i for i in range(size) if i not in held]
    squared = eigh(stiff[np.ix_(free, free)], mass[np.ix_(free, free)], eigvals_only=True)
    expected = np.sqrt(squared[:5]) / (2 * np.pi)
    found = simulator.span_modes(tension, 1.0, 1.0, 1.0, hold, 5, far)
    assert found == pytest.approx(expected, rel=2e-5)


def test_a_pluck_sounds_where_the_truth_says_and_starts_sharp_by_the_glide() -> None:
    case = simulator.Case(
        seed=1,
        tension_n=30.0,
        linear_mass_kg_m=0.012,
        span_m=0.4,
        bending_n_m2=0.0,
        quality_1=60.0,
        glide=0.02,
        snr_db=120.0,
        highpass_order=0,
        frame_gain=0.0,
        bits=24,
        coherent=True,
    )
    made = simulator.render(case)
    first = int(made.onsets_s[0] * made.rate_hz)
    early, late = (_mode_1(made, first + int(at * made.rate_hz)) for at in (0.0, 1.0))
    assert case.frequency_hz == pytest.approx(62.5)
    assert late == pytest.approx(62.5, rel=5e-4)
    assert 1.008 < early / late < 1.02


def _mode_1(made: simulator.Simulated, first: int) -> float:
    """Return the phase slope of mode 1 over 80 ms, behind a smooth window around 62.5 Hz."""
    frames = int(0.08 * made.rate_hz)
    time = np.arange(made.samples.size) / made.rate_hz
    mixed = made.samples * np.exp(-2j * np.pi * 62.5 * time)
    window = np.hanning(int(made.rate_hz / 62.5 * 2))
    smooth = np.convolve(mixed, window / window.sum(), "same")[first : first + frames]
    slope = np.polyfit(np.arange(frames) / made.rate_hz, np.unwrap(np.angle(smooth)), 1)[0]
    return float(62.5 + slope / (2 * np.pi))


def test_the_stated_ratio_is_the_ratio_of_the_parts() -> None:
    rng = np.random.default_rng(4)
    pluck = rng.standard_normal(20000)
    noise = rng.standard_normal(40000)
    mixed = corpus.mix(pluck, noise, 5000, 8000, 10.0)
    ground = np.concatenate([mixed[:5000], mixed[25000:]])
    ratio = corpus.early_rms(pluck, 8000) / corpus.rms(ground)
    assert 20 * math.log10(ratio) == pytest.approx(10.0, abs=0.1)


def test_a_case_renders_to_the_same_samples_twice() -> None:
    case = simulator.draw(np.random.default_rng(8))
    assert np.array_equal(simulator.render(case).samples, simulator.render(case).samples)


def test_a_room_without_a_pluck_is_as_loud_throughout_and_repeats() -> None:
    """The same case with a pluck 60 dB above the noise is loud where that begins."""
    case = simulator.draw(np.random.default_rng(3), snr_db=(60.0, 60.0), fans=0)
    quiet = simulator.render_room(replace(case, noise_slope=0.0), 4.0)
    assert quiet.size == 4 * case.rate_hz
    levels = [corpus.rms(part) for part in np.split(quiet, 8)]
    assert max(levels) < 1.2 * min(levels)
    plucked = simulator.render(case).samples
    assert np.abs(plucked).max() > 30 * corpus.rms(plucked[: int(0.3 * case.rate_hz)])
    knocked = replace(case, knocks=2, knock_db=0.0)
    assert np.array_equal(simulator.render_room(knocked, 2.0), simulator.render_room(knocked, 2.0))
    loud = simulator.render_room(knocked, 4.0)
    assert np.abs(loud).max() > 30 * np.median(np.abs(loud))


def test_files_without_a_pluck_are_a_quarter_simulated_the_rest_recorded_in_turn(
    tmp_path: Path,
) -> None:
    import soundfile

    rng = np.random.default_rng(6)
    names = ("bg_machine_lathe_01.wav", "tr_knock_door_02.wav")
    for name in names:
        soundfile.write(tmp_path / name, 0.1 * rng.standard_normal(11025), 11025)
    (tmp_path / "noise.csv").write_text("file\n" + "\n".join(names) + "\n")
    made = [no_pluck(Job("no-pluck", index, 5, tmp_path)) for index in range(8)]
    assert [file.groups[0] == "simulated" for file in made] == 2 * [True, False, False, False]
    assert [file.groups[1] for file in made[::4]] == ["simulated, no knocks", "simulated, knocks"]
    recorded = [file for file in made if file.groups[0] == "recorded"]
    assert [file.note for file in recorded] == 3 * list(names)
    assert recorded[0].groups[1:] == ("recorded, machine", "recorded, machine: lathe 01")
    for file in made:
        assert file.truth is None
        assert file.samples.size == 3.5 * file.rate_hz
    assert np.abs(recorded[0].samples).max() == pytest.approx(0.7, abs=1e-4)
    assert not np.array_equal(recorded[0].samples, recorded[2].samples)


# ---------------------------------------------------------------- the bound


def test_the_bound_of_one_damped_partial_is_the_closed_form() -> None:
    """sd(f) = (2/pi) alpha^1.5 sigma/(A sqrt(fs)), long record (Yao and Pandit 1995)."""
    rate, decay = 8000.0, 5.0
    single = bound.Ringing(100.0, 0.0, (1.0,), (0.3,), (decay,))
    rows = bound.derivatives(single, np.arange(15000) / rate, glide=False)[[0, 2, 3, 4]]
    least = 0.05 * math.sqrt(np.linalg.inv(rows @ rows.T)[0, 0])
    assert least == pytest.approx(2 / math.pi * decay**1.5 * 0.05 / math.sqrt(rate), rel=0.005)


def test_the_bound_falls_with_noise_and_rises_when_the_glide_is_unknown() -> None:
    ringing = bound.plucked(80.0, 0.25, np.random.default_rng(1))
    quiet, loud = (bound.bound_hz(ringing, sigma, 8000.0, 0.0) for sigma in (0.01, 0.1))
    assert loud / quiet == pytest.approx(10.0)
    assert bound.bound_hz(ringing, 0.01, 8000.0, 0.0, glide=False) < quiet


def test_coloured_noise_is_whitened_by_its_own_spectrum() -> None:
    rng = np.random.default_rng(2)
    noise = bound.noise(2**16, 8000.0, 1.0, rng)
    power = np.abs(np.fft.rfft(noise)) ** 2 / bound.spectrum(2**16, 8000.0, 1.0) / 2**16
    assert power[10:-10].mean() == pytest.approx(1.0, abs=0.02)
    assert power[10:300].mean() == pytest.approx(1.0, abs=0.2)


# ---------------------------------------------------------------- counting


# Clopper and Pearson: 0 of 10 ends at 1 - 0.025^(1/10); 5 of 10 is in every table.
@pytest.mark.parametrize(
    ("hits", "of", "low", "high"), [(0, 10, 0.0, 0.30850), (5, 10, 0.18709, 0.81291)]
)
def test_binomial_limits(hits: int, of: int, low: float, high: float) -> None:
    assert Share(hits, of).limits() == pytest.approx((low, high), abs=1e-5)


def test_anything_from_early_to_late_is_right() -> None:
    truth = Truth(100.0, 99.0, 100.2, spread=0.001)
    assert truth.error(99.1) == 0
    assert truth.error(103.0) == pytest.approx(0.03)
    assert judge(truth, 98.8, u_hz=0.06).covered is True
    assert judge(truth, 98.7, u_hz=0.06).covered is False
    assert judge(truth, None) == Outcome(None)


def test_any_number_is_wrong_where_nothing_was_plucked() -> None:
    assert judge(None, None) == Outcome(None)
    got = summarise([judge(None, None), judge(None, 80.0, 0.1, (79.0, 81.0)), judge(None, None)])
    assert (got.answered.hits, got.answered.of, got.wrong.hits) == (1, 3, 1)


def test_the_table_of_nothing_plucked_counts_numbers_given() -> None:
    table = next(each for each in TABLES if each.name == "no-pluck")
    results = [hear(Job("no-pluck", SIMULATED_EVERY * turn, 5)) for turn in range(2)]
    head, _, *rows = tabulate(table, results).splitlines()
    assert head == "| nothing plucked | method | files | gives a number % |"
    assert [row.split(" | ")[:3] for row in rows] == [
        ["| simulated", OURS, "2"],
        ["| simulated, knocks", OURS, "1"],
        ["| simulated, no knocks", OURS, "1"],
    ]


def test_shares_count_answers_not_files() -> None:
    got = summarise([Outcome(None), Outcome(0.001, covered=True), Outcome(0.03, covered=False)])
    assert (got.answered.hits, got.answered.of) == (2, 3)
    assert (got.wrong.hits, got.wrong.of) == (1, 2)
    assert got.within[0].hits == 1
    assert (got.covered.hits, got.covered.of) == (1, 2)


def test_records_are_json() -> None:
    for document in DOCUMENTS:
        for table in evidence.kept_tables(document):
            assert json.loads(json.dumps(dict(table.record))) == dict(table.record)
