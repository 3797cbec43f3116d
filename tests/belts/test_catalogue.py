"""The catalogue: every figure has a source and a doubt, and scales as its source allows."""

from __future__ import annotations

import itertools
import math
import tomllib
from importlib import resources

import pytest

from beltpitch.belts.catalogue import (
    DOF_OF_A_FIGURE,
    KNOWN,
    Belt,
    Construction,
    Figure,
    Law,
    Profile,
    belt,
    own_belt,
    profile,
    profiles,
    told,
)
from beltpitch.errors import BeltNotFound, RequestError
from beltpitch.uncertainty import Estimate, difference

WANTED = [
    *("MXL", "XL", "L", "H", "XH", "XXH"),
    *("T2.5", "T5", "T10", "T20", "AT3", "AT5", "AT10", "AT20", "ATL5"),
    *("HTD 3M", "HTD 5M", "HTD 8M", "HTD 14M", "2GT", "3GT", "5GT"),
    *("S2M", "S3M", "S5M", "S8M", "RPP 5M", "RPP 8M"),
]
EVERY = [(p, c) for p in profiles() for c in p.constructions]
IDS = [f"{p.name}, {c.name}" for p, c in EVERY]
MILLIMETRE = 1e-3


def nominal(made: Profile, built: Construction) -> Belt:
    return belt(made.name, width_m=made.widths_m[-1], construction=built.name)


@pytest.mark.parametrize("name", WANTED)
def test_every_wanted_profile_is_there(name: str) -> None:
    assert profile(name).name == name
    assert profile(name.lower().replace(" ", "")).name == name


def test_five_constructions_occur() -> None:
    assert {c.name for _, c in EVERY} == {
        "rubber, glass cord",
        "rubber, steel cord",
        "rubber, aramid cord",
        "polyurethane, steel cord",
        "polyurethane, aramid cord",
    }


@pytest.mark.parametrize(("made", "built"), EVERY, ids=IDS)
def test_every_figure_has_source_doubt_and_a_known_kind(made: Profile, built: Construction) -> None:
    for law in built.laws:
        figure = law.printed
        assert figure.value > 0
        assert figure.u >= 0.03 * figure.value, "no figure here is better than 3 percent"
        assert figure.source
        if figure.known == "from memory":
            assert figure.u >= 0.06 * figure.value, "from memory means wide"
        if figure.known == "derived here":
            assert figure.because or "times 15" in figure.source
        for other in figure.also:
            assert other.known in KNOWN
            assert other.source
    assert built.linear_mass.printed.u >= 0.04 * built.linear_mass.printed.value


@pytest.mark.parametrize(("made", "built"), EVERY, ids=IDS)
def test_linear_mass_covers_what_sources_say(made: Profile, built: Construction) -> None:
    mass = built.linear_mass.printed
    for other in mass.also:
        if "router-forum" in other.source or "router maker" in other.source:
            continue  # back-computed for a belt whose pitch is not printed: kept, not covered
        assert abs(other.value - mass.value) <= 2 * mass.u


@pytest.mark.parametrize(("made", "built"), EVERY, ids=IDS)
def test_disagreeing_figures_say_why_one_was_used(made: Profile, built: Construction) -> None:
    for law in built.laws:
        spread = [abs(a.value / law.printed.value - 1) for a in law.printed.also]
        if spread and max(spread) > 0.3:
            assert law.printed.because


@pytest.mark.parametrize(("made", "built"), EVERY, ids=IDS)
def test_the_four_loads_are_in_order(made: Profile, built: Construction) -> None:
    found = nominal(made, built)
    loads = [found.seating_n, found.working_tension_n, found.break_n]
    known = [f.value for f in loads if f is not None]
    # seating below the rated pull is not a law (2GT 4 mm), so each only against the break
    if found.break_n is not None:
        assert all(v <= found.break_n.value for v in known)
    if found.allowable_n is not None and found.break_n is not None:
        assert 3 < found.break_n.value / found.allowable_n.value < 5
    if "rubber" in built.name:
        assert found.allowable_n is None, "a rating of pull is no limit of strand tension"


@pytest.mark.parametrize(("made", "built"), EVERY, ids=IDS)
def test_bending_stiffness_lies_between_loose_and_solid_cord(
    made: Profile, built: Construction
) -> None:
    text = resources.files("beltpitch.belts").joinpath("catalogue.toml").read_text("utf-8")
    table = tomllib.loads(text)["profile"][made.name][built.name]["ei"]
    assert "no measured belt behind it" in table["because"]
    assert table["u_rel"] == pytest.approx(0.6)
    assert built.ea is not None
    ea = built.ea.printed.value * 1e3  # N per mm of width
    cord = table["cord_mm"]
    line = made.pitch_line_m.value / MILLIMETRE if made.pitch_line_m else 0.4
    modulus = 20 if built.elastomer == "rubber" else 40  # N/mm2, as the file's head says
    loose = ea * cord**2 / 16 * (1 / 9 if built.cord == "steel" else 0)
    # The elastomer above the cord is between the pitch line and four times it thick.
    thin, thick = (modulus * (line**3 + (k * line) ** 3) / 3 for k in (0.8, 4.0))
    assert loose / 2 + 0.9 * thin < table["value"] < ea * cord**2 / 16 * 0.6 + thick


@pytest.mark.parametrize("name", ["A50", "SPZ 1000", "XPA-900", "6PJ 1200", "PJ 6", "3V 500"])
def test_v_and_ribbed_belts_are_refused_with_the_way_on(name: str) -> None:
    with pytest.raises(BeltNotFound, match=r"weigh a piece, give --linear-mass .* manual"):
        belt(name)


@pytest.mark.parametrize(
    ("name", "profile"),
    [
        ("8YU 20 mm", "8MGT"),
        ("GT3 8M 20", "8MGT"),
        ("14MGT 40", "14MGT"),
        ("1.5GT 6 mm", "1.5GT"),
        ("ATL10 25", "ATL10"),
        ("S4.5M 10", "S4.5M"),
        ("S14M 40", "S14M"),
        ("RPP14 40", "RPP 14M"),
        ("HTD 20M 115 mm", "HTD 20M"),
    ],
)
def test_the_larger_and_the_rarer_profiles_are_read(name: str, profile: str) -> None:
    assert belt(name).profile == profile


def test_glass_belt_of_two_millimetre_pitch_in_full() -> None:
    found = belt("2GT 9 mm")
    assert found.pitch_m == 0.002
    assert found.width_m == 0.009
    assert found.construction == "rubber, glass cord"
    assert found.linear_mass.value == pytest.approx(0.0126)
    assert found.linear_mass_per_width is not None
    assert found.linear_mass_per_width.value == pytest.approx(1.4)
    assert found.ea_n is not None
    assert found.ea_n.value == pytest.approx(28.8e3)
    assert found.ei_n_m2 is not None
    assert found.ei_n_m2.value == pytest.approx(117e-6)
    assert found.seating_n is not None
    assert found.seating_n.value == pytest.approx(13.3)
    assert found.working_tension_n is not None
    assert found.working_tension_n.value == pytest.approx(34.0, abs=0.1)
    assert [(round(p.low_n), round(p.high_n)) for p in found.set_points] == [(81, 95)]
    assert found.min_span_m is not None
    assert found.min_span_m.value == pytest.approx(0.04)
    assert any("from memory" in s for s in found.sources)


def test_linear_mass_has_two_lines_and_eight_degrees_of_freedom() -> None:
    found = belt("2GT 9 mm")
    lines = {line.name: line for line in found.linear_mass.budget()}
    assert set(lines) == {"linear mass", "width"}
    assert lines["linear mass"].dof == DOF_OF_A_FIGURE == 8
    assert math.isinf(lines["width"].dof)
    # +/- 0.4 mm as a rectangular limit (GUM 4.3.7)
    assert found.width_u_m == pytest.approx(0.4e-3 / math.sqrt(3))
    assert lines["width"].u == pytest.approx(1.4 * 0.4e-3 / math.sqrt(3))
    assert lines["linear mass"].keys == ("roll:2GT 9 mm, rubber, glass cord",)
    assert lines["width"].keys == ("roll:2GT 9 mm, rubber, glass cord/width",)


def test_two_belts_of_one_name_share_their_mass_error() -> None:
    same = difference(belt("GT2 9mm").linear_mass, belt("2GT 9 mm").linear_mass)
    assert same.u == 0
    other = difference(
        belt("2GT 9 mm", construction="steel").linear_mass, belt("2GT 9").linear_mass
    )
    assert other.u > belt("2GT 9").linear_mass.u


@pytest.mark.parametrize(
    ("name", "limit_mm"),
    [("2GT 6 mm", 0.4), ("HTD 5M 25", 0.8), ("AT5 25", 0.5), ("XL 037 PU", 0.5), ("T10 25", 1.0)],
)
def test_width_tolerance_by_construction_and_pitch(name: str, limit_mm: float) -> None:
    assert belt(name).width_u_m == pytest.approx(limit_mm * MILLIMETRE / math.sqrt(3))


def test_linear_mass_goes_with_width_and_its_share_of_doubt_stays() -> None:
    six, nine = belt("3GT 6").linear_mass, belt("3GT 9").linear_mass
    assert nine.value == pytest.approx(1.5 * six.value)
    u_six, u_nine = (next(p.u for p in m.parts if p.name == "linear mass") for m in (six, nine))
    assert u_nine / nine.value == pytest.approx(u_six / six.value)


def test_a_load_between_printed_widths_is_whole_cords_rounded_down() -> None:
    # AT5: 10 mm 560 N, 16 mm 1120 N, one cord 70 N; 12.5 mm lies at 11.33 cords.
    found = belt("AT5 12.5 mm").allowable_n
    assert found is not None
    assert found.value == pytest.approx(11 * 70)
    assert found.scaling == "between printed widths, whole cords"


@pytest.mark.parametrize("width_mm", [10.0, 11.0, 12.5, 14.9, 16.0, 20.0, 24.9, 25.0, 60.0, 100.0])
def test_a_load_never_exceeds_the_line_between_rows_nor_falls_below_the_narrower(
    width_mm: float,
) -> None:
    rows = [(10, 560), (16, 1120), (25, 1750), (32, 2240), (50, 3500), (75, 5250), (100, 7000)]
    found = belt("AT5", width_m=width_mm * MILLIMETRE).allowable_n
    assert found is not None
    (b0, v0), (b1, v1) = next(
        (a, b) for a, b in itertools.pairwise(rows) if a[0] <= width_mm <= b[0]
    )
    line = v0 + (v1 - v0) * (width_mm - b0) / (b1 - b0)
    assert v0 <= found.value <= line + 1e-9
    assert line - found.value < 70


def test_outside_the_printed_widths_a_cord_is_taken_off_and_the_doubt_doubled() -> None:
    inside, outside = belt("AT5 10 mm").allowable_n, belt("AT5 6 mm").allowable_n
    assert inside is not None
    assert outside is not None
    assert outside.value == pytest.approx(3 * 70)  # 8 cords x 0.6 = 4.8, less one, whole
    assert outside.u / outside.value == pytest.approx(2 * inside.u / inside.value)
    assert "beyond the printed widths" in outside.scaling


def test_stiffness_between_printed_widths_is_read_along_the_line() -> None:
    found = belt("T5 13 mm").ea_n
    assert found is not None
    assert found.value == pytest.approx((90e3 + 142.5e3) / 2)


def test_joined_belt_carries_half() -> None:
    found = belt("HTD 5M 15 PU")
    assert found.allowable_n is not None
    assert found.allowable_joined_n is not None
    assert (found.allowable_n.value, found.allowable_joined_n.value) == (1320, 660)
    assert belt("2GT 9 mm").allowable_joined_n is None


def test_other_figures_are_kept_beside_the_used_one_in_the_same_unit() -> None:
    found = belt("3GT 12 mm").linear_mass_per_width
    assert found is not None
    assert {a.value for a in found.also} == {2.5, 2.8}
    pull = belt("5GT 15 mm").working_tension_n
    assert pull is not None
    assert [round(a.value) for a in pull.also] == [614, 934]


def test_weighed_belt_keeps_all_but_its_mass() -> None:
    weighed = Estimate.single(0.0131, 0.0002, name="linear mass", key="roll:mine", dof=5)
    found = belt("2GT 9 mm").weighed(weighed)
    assert found.linear_mass == weighed
    assert found.linear_mass_per_width is None
    assert found.ea_n == belt("2GT 9 mm").ea_n


def test_own_belt_knows_only_its_mass_and_width() -> None:
    mass = Estimate.single(0.0126, 0.0004, name="linear mass", key="typed")
    found = own_belt(mass, 0.009)
    assert (found.linear_mass, found.width_m) == (mass, 0.009)
    assert found.figures == ()
    assert found.pitch_m is None


@pytest.mark.parametrize("value", [0.0, -0.0126])
def test_own_belt_without_mass_is_refused(value: float) -> None:
    with pytest.raises(RequestError, match="must be above zero: weigh"):
        own_belt(Estimate(value))


@pytest.mark.parametrize("width_m", [0.0, -0.009, math.nan, math.inf, 9.0])
def test_impossible_width_is_refused(width_m: float) -> None:
    with pytest.raises(RequestError, match="must lie between 1 and 250 mm"):
        own_belt(Estimate(0.0126), width_m)
    with pytest.raises(RequestError, match="must lie between 1 and 250 mm"):
        belt("2GT", width_m=width_m)


def test_unknown_profile_is_refused_with_the_nearest() -> None:
    with pytest.raises(BeltNotFound, match=r"nearest: .*5GT"):
        profile("6GT")


def test_a_figure_of_unknown_origin_cannot_be_made() -> None:
    with pytest.raises(ValueError, match="is known 'rumour'"):
        Figure(1.0, 0.1, "someone", "rumour")
    with pytest.raises(ValueError, match="figure nan"):
        Figure(math.nan, 0.1, "someone", "maker")


def test_a_figure_becomes_an_estimate_of_one_part() -> None:
    bend = belt("2GT 9 mm").ei_n_m2
    assert bend is not None
    made = bend.estimate("stiffness", "belt:2GT 9 mm/stiffness")
    assert (made.value, made.u, made.dof) == pytest.approx((bend.value, 0.6 * bend.value, 8))
    assert [p.key for p in made.parts] == ["belt:2GT 9 mm/stiffness"]


def test_width_exponent_scales_from_the_printed_width() -> None:
    printed = Figure(2.0, 0.2, "a table", "standard")  # N per mm at 10 mm
    law = Law("working_tension", printed, at_mm=10.0, exponent=1.14)
    assert law.at(0.010).value == pytest.approx(20)
    assert law.at(0.020).value == pytest.approx(20 * 2**1.14)
    assert law.scaling == "(b / 10 mm)^1.14"


def test_how_a_figure_is_known_is_said_once() -> None:
    every = [
        s for name in ("2GT 9 mm", "HTD 5M 15 mm", "T5 10 mm", "XL 037") for s in belt(name).sources
    ]
    assert any("from memory" in source for source in every)
    assert any(source.endswith("(quoted)") for source in every)
    assert [s for s in every if s.count("memory") > 1 or s.count("derived here") > 1] == []
    assert told("p. 8", "maker") == "p. 8 (maker)"
    assert told("from memory of tables", "from memory") == "from memory of tables"


def test_a_belt_prints_as_two_plain_lines() -> None:
    first, second = str(belt("HTD 5M 15 mm")).split("\n")
    assert first == "HTD 5M 15 mm, rubber, glass cord"
    assert second.startswith(
        "linear mass 58.5 g/m (u 5.6 g/m), EA 228 kN (u 68 kN), EI 4650 N mm^2"
    )
    own = Belt("spare", Estimate.single(12.6e-3, 1e-4, name="linear mass", key="roll:spare"))
    assert str(own) == "spare\nlinear mass 12.60 g/m (u 0.10 g/m)"
