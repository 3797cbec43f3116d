"""The machine file: what it says, what it refuses and where, and how it survives edits."""

from __future__ import annotations

import datetime as dt
import string
import time
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltpitch.errors import RequestError
from beltpitch.store import machine_file as m
from beltpitch.store.entries import (
    BeltEntry,
    DutyEntry,
    PairEntry,
    TensionerEntry,
    belt_from,
    name_fault,
)
from beltpitch.store.machine_edit import add_belt, add_pair, as_texts, save, written
from beltpitch.uncertainty import ratio

ROUTER = """\
# our router, built from a kit

[machine]
name = "Northlight router"   # as on the plate
check_every = "60 d"
frame = "aluminium"

[belts.y-left]
belt = "2GT 9 mm"
span = "412 +/- 1 mm"
ends = "clamp,idler"
park = "X = 100"     # the mark on the rail
target = "40 N"
axis = "y"
loop = "1840 mm"
fitted = 2026-02-27
tensioner = { pull = "idler", lead = "0.7 mm" }

[belts.y-right]
belt = "2GT 9 mm"
span = "410 mm"
ends = "clamp,idler"

[pairs.y]
belts = ["y-left", "y-right"]

[duty.y]
drive = "looped"
mass = "4 kg"
acceleration = "2000 mm/s^2"
belts = 2
teeth = 20
"""


@pytest.fixture
def router(tmp_path: Path) -> Path:
    path = tmp_path / "beltpitch.toml"
    path.write_text(ROUTER)
    return path


def wrong(path: Path, old: str, new: str) -> str:
    """Return the first mistake of the file with one text replaced."""
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    return m.mistakes(path)[0].said("f")


# --- what it says --------------------------------------------------------------------------------


def test_names_stand_for_belt_span_window_duty_and_tensioner(router: Path) -> None:
    machine = m.load(router)
    left = machine.named("y-left")
    assert (left.machine, left.name) == ("Northlight router", "y-left")
    assert left.belt.name == "2GT 9 mm"
    assert left.span is not None
    assert left.span.length_m == pytest.approx(0.412)
    assert left.span.ends == ("clamp", "idler")
    window = left.windows.verdict
    assert window is not None
    assert (window.low_n, window.high_n) == pytest.approx((36.0, 44.0))
    assert left.demand is not None
    assert left.demand.peripheral_n == pytest.approx(4.0)  # 4 kg at 2 m/s^2 on two belts
    assert left.tensioner is not None
    assert left.tensioner.take_up_m == pytest.approx(1.4e-3)
    assert left.loop_m == pytest.approx(1.84)
    assert left.entry.fitted == dt.date(2026, 2, 27)
    assert machine.check_every_days == pytest.approx(60)


def test_a_pair_stands_for_its_two_belts(router: Path) -> None:
    machine = m.load(router)
    first, second = machine.both("y")
    assert (first.name, second.name) == ("y-left", "y-right")
    assert [e.name for e in machine.entries("y")] == ["y-left", "y-right"]
    assert [e.name for e in machine.entries("y-right")] == ["y-right"]


def test_a_default_that_is_taken_is_said(router: Path) -> None:
    assert any("410 mm, taken as" in words for words in m.load(router).named("y-right").echoes)


def test_belts_of_one_roll_share_its_error_and_others_do_not(tmp_path: Path) -> None:
    path = tmp_path / "rolls.toml"
    path.write_text(
        "\n".join(
            f'[belts.{name}]\nbelt = "2GT 9 mm"\nroll = "{roll}"'
            for name, roll in (("a", "March"), ("b", "March"), ("c", "June"))
        )
    )
    machine = m.load(path)
    a, b, c = (machine.named(n).belt.linear_mass for n in "abc")
    assert ratio(a, b).u == 0
    assert ratio(a, c).u == pytest.approx(2**0.5 * a.u / a.value)


def test_belts_weighed_each_by_itself_do_not_share_the_error(tmp_path: Path) -> None:
    path = tmp_path / "weighed.toml"
    path.write_text(
        "\n".join(
            f'[belts.{name}]\nbelt = "2GT 9 mm"\nlinear_mass = "{mass} g/m"'
            for name, mass in (("a", "12.61(5)"), ("b", "12.61(5)"), ("c", "12.70(5)"))
        )
    )
    machine = m.load(path)
    a, b, c = (machine.named(n).belt.linear_mass for n in "abc")
    assert ratio(a, b).u == 0
    assert ratio(a, c).u > a.u / a.value


def test_the_last_tooth_is_one_belts_own_at_one_park(tmp_path: Path) -> None:
    path = tmp_path / "parks.toml"
    path.write_text(
        '[belts.a]\nbelt = "2GT 9 mm"\nspan = "400 mm"\npark = "X = 0"\n'
        '[belts.b]\nbelt = "2GT 9 mm"\nspan = "400 mm"\npark = "X = 0"\n'
    )
    machine = m.load(path)
    keys = [
        {p.key for p in span.length.parts if p.name == "last contact"}
        for span in (machine.named("a").span, machine.named("b").span)
        if span is not None
    ]
    assert keys[0]
    assert not keys[0] & keys[1]


def test_a_file_without_a_machine_table_is_named_after_its_folder(tmp_path: Path) -> None:
    folder = tmp_path / "laser"
    folder.mkdir()
    (folder / "beltpitch.toml").write_text('[belts.x]\nbelt = "HTD5M-15"\n')
    assert m.find(folder) == folder / "beltpitch.toml"
    assert m.load(folder / "beltpitch.toml").name == "laser"
    assert m.find(tmp_path) is None


def test_numbers_may_stand_bare_and_windows_notepad_may_have_saved_it(tmp_path: Path) -> None:
    path = tmp_path / "bare.toml"
    path.write_bytes(
        b'\xef\xbb\xbf[belts.x]\r\nbelt = "2GT 9 mm"\r\nspan = 412.5\r\nwithin = 10\r\n'
    )
    entry = m.load(path).belt("x")
    assert (entry.span, entry.within) == ("412.5", "10")


def test_the_machines_in_the_docs_are_right() -> None:
    page = Path(__file__).resolve().parents[2] / "docs" / "book.md"
    blocks = page.read_text().split("```toml\n")[1:]
    assert blocks
    for i, block in enumerate(blocks):
        text = block.split("```")[0]
        machine, found = m.parsed(text, Path(f"block-{i}.toml"))
        assert machine is not None, [f.said("docs/book.md") for f in found]


# --- what it refuses, and where ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("span = ", "spam = ", "f:10:1: [belts.y-left] has no key \"spam\"; did you mean span?"),
        ("[belts.y-left]", "[belt.y-left]", 'f:8:2: no table "belt"; did you mean belts?'),
        ("412 +/- 1 mm", "412,5 mm", "f:10:1: span '412,5 mm': a comma"),
        ("412 +/- 1 mm", "41 Hz", "f:10:1: span '41 Hz': 'Hz' is no unit of length"),
        ("412 +/- 1 mm", "0 mm", "must be greater than zero"),
        ("412 +/- 1 mm", "0.2 mm", "f:8:8: span '0.2 mm' is 0.2 mm; a span lies between"),
        ("40 N", "40 mm", "f:13:1: target '40 mm'"),
        ('"clamp,idler"\npark', '"clamp,pully"\npark', 'f:11:1: end "pully" is not one of'),
        ("2GT 9 mm", "2GTX 9 mm", 'f:8:8: no belt "2GTX 9 mm"'),
        ('pull = "idler"', 'pull = "ilder"', "f:17:1: pull = 'ilder': choose from idler, clamp"),
        ('lead = "0.7 mm"', 'leed = "0.7 mm"', 'f:17:1: tensioner has no key "leed"'),
        ('"y-right"]', '"y-rigth"]', 'f:25:1: no belt "y-rigth"; did you mean y-right'),
        ('axis = "y"', 'axis = "z"', 'f:14:1: axis = "z": there is no [duty.z]'),
        ("2026-02-27", '"last week"', "f:16:1: fitted = 'last week': write a date"),
        ('drive = "looped"', 'drive = "lopped"', "did you mean looped"),
        ("belts = 2", "belts = true", "f:31:1: belts = 'bool': write a whole number"),
        ("[pairs.y]", "[pairs.y-left]", '"y-left" is a belt already'),
        ('["y-left", "y-right"]', '["y-left"]', "name two belts"),
        ('"Northlight router"', "7", "f:4:1: name = 'int': write a text in quotation marks"),
        ("frame = ", 'book = "../b.sqlite"\nframe = ', "f:6:1: book = '../b.sqlite': write"),
        ('"60 d"', '"60 years"', "f:5:1: check_every '60 years'"),
        ('"60 d"', "300", "f:5:1: check_every '300' has no unit (units: min, h, d)"),
        ("2026-02-27", "2926-02-27", "f:16:1: fitted: 2926-02-27 must be a slip"),
        ("2026-02-27", '"1026-02-27"', "f:16:1: fitted: 1026-02-27 must be a slip"),
        ("40 N", "4000 N", "f:8:8: target '4000 N': 4000 N would break a 2GT 9 mm"),
        ('lead = "0.7 mm"', 'lead = "M4x16"', "lead 'M4x16': the pitches of M4 are 0.7, 0.5 mm"),
        ('belt = "2GT 9 mm"', 'belt = "2GT 9 mm"\nlinear_mass = "126 g/m"',
         "f:8:8: 126 g/m is 10 times the 12.6 g/m"),
        ("[belts.y-right]", '[belts." y"]', "none of them a space at its ends"),
        ("[belts.y-right]", '[belts."-y"]', "begins with -"),
        ("[belts.y-right]", '[belts."a\\u0000b"]', "control characters"),
        ('name = "Northlight router"', "name = Northlight", "f:4:8: not TOML"),
        ("[belts.y-right]", "[belts.y-right", "not TOML"),
        ('park = "X', 'span = "7 mm"\npark = "X', "not TOML: cannot overwrite a value"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_its_place_and_the_fix(
    router: Path, old: str, new: str, said: str
) -> None:
    assert said in wrong(router, old, new)


def test_loading_a_file_with_mistakes_tells_the_first_and_how_many_more(router: Path) -> None:
    router.write_text(ROUTER.replace("span", "spam").replace("mass", "mess"))
    with pytest.raises(RequestError, match=r"beltpitch.toml:10:1: .*spam.* \(and 2 more"):
        m.load(router)


def test_what_is_no_machine_file_is_refused_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="make one with: beltpitch machine new"):
        m.load(tmp_path / "none.toml")
    with pytest.raises(RequestError, match="is a folder"):
        m.load(tmp_path)
    path = tmp_path / "bytes.toml"
    path.write_bytes(b"\xff\xfe[\0b")
    with pytest.raises(RequestError, match="UTF-8"):
        m.load(path)
    path.write_text("x = " + "[" * 100_000)
    with pytest.raises(RequestError, match=r"nested too deep|not TOML"):
        m.load(path)
    path.write_bytes(b"#" * (m.LARGEST_BYTES + 1))
    with pytest.raises(RequestError, match="larger than any machine file"):
        m.load(path)


def test_an_unknown_name_gets_the_nearest(router: Path) -> None:
    machine = m.load(router)
    with pytest.raises(RequestError, match=r'no belt "y-letf".*did you mean y-left'):
        machine.named("y-letf")
    with pytest.raises(RequestError, match=r'no pair "z".*there are y'):
        machine.both("z")
    with pytest.raises(RequestError, match=r"no belt or pair"):
        machine.entries("zzz")


# --- a forged file -------------------------------------------------------------------------------


def forged(belts: int) -> str:
    """Return a file in which every belt has a typo and every pair a belt that is not there."""
    rows = [f'[belts.b{i}]\nbelt = "2GT 9 mm"\nspam = "4{i} mm"\n' for i in range(belts)]
    rows += [f'[pairs.p{i}]\nbelts = ["b{i}", "c{i}"]\n' for i in range(belts)]
    return "".join(rows)


def cost_of(text: str, path: Path) -> float:
    path.write_text(text)
    best = float("inf")
    for _ in range(3):
        start = time.process_time()
        m.mistakes(path)
        best = min(best, time.process_time() - start)
    return best


@pytest.mark.parametrize("typo", ["spam", "note"])  # with mistakes, and without until the pairs
def test_the_cost_of_a_forged_file_grows_with_its_size_alone(tmp_path: Path, typo: str) -> None:
    path = tmp_path / "forged.toml"
    small, large = (cost_of(forged(n).replace("spam", typo), path) for n in (1_000, 10_000))
    assert large < 40 * small  # ten times the size; the square would be a hundred


def test_ten_thousand_right_belts_are_read_and_one_is_found(tmp_path: Path) -> None:
    path = tmp_path / "many.toml"
    path.write_text(
        "".join(f'[belts.b{i}]\nbelt = "2GT 9 mm"\nspan = "4{i}"\n' for i in range(10_000))
    )
    machine = m.load(path)
    assert len(machine.belts) == 10_000
    assert machine.belt("b9999").span == "49999"
    assert len(m.mistakes(path)) <= m.MOST_MISTAKES


# --- edits ---------------------------------------------------------------------------------------


def test_comments_and_order_survive_an_edit(router: Path) -> None:
    add_belt(router, BeltEntry("x", belt="HTD5M-15", span="300 mm"))
    add_pair(router, PairEntry("odd", ("x", "y-left")))
    add_belt(router, BeltEntry("y-left", span="413 mm"), over=True)
    text = router.read_text()
    for comment in ("# our router", "# as on the plate", "# the mark on the rail"):
        assert comment in text
    order = [text.index(word) for word in ("[belts.y-left]", "[belts.x]", "[pairs.y]", "[duty.y]")]
    assert order == sorted(order)
    machine = m.load(router)
    assert machine.belt("y-left").span == "413 mm"
    assert machine.belt("y-left").target == "40 N"
    assert machine.belt("x").belt == "HTD5M-15"
    assert machine.pair("odd").belts == ("x", "y-left")
    lines = ROUTER.splitlines()
    changed = [line for line in lines if line and line not in text.splitlines()]
    assert changed == ['span = "412 +/- 1 mm"']


def test_a_file_is_made_if_there_is_none(tmp_path: Path) -> None:
    path = tmp_path / "beltpitch.toml"
    add_belt(path, BeltEntry("x", belt="HTD5M-15", span="300 mm"))
    assert m.load(path).named("x").belt.name == "HTD 5M 15 mm"


def test_nothing_is_written_that_could_not_be_read_again(router: Path) -> None:
    with pytest.raises(RequestError, match="already; choose another name"):
        add_belt(router, BeltEntry("y-left"))
    with pytest.raises(RequestError, match="nothing was written"):
        add_pair(router, PairEntry("z", ("y-left", "nowhere")))
    with pytest.raises(RequestError, match="nothing was written"):
        add_belt(router, BeltEntry("z", span="41 Hz"))
    with pytest.raises(RequestError, match="is there already"):
        save(m.Machine("other"), router)
    assert router.read_text() == ROUTER
    router.write_text(ROUTER.replace("span", "spam"))
    with pytest.raises(RequestError, match="spam"):
        add_belt(router, BeltEntry("z", span="41 mm"))


def test_a_file_that_may_not_be_written_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="cannot be written"):
        save(m.Machine("m"), tmp_path / "no" / "beltpitch.toml")
    assert list(tmp_path.iterdir()) == []


# --- round trips ---------------------------------------------------------------------------------

signs = st.characters(categories=["L", "N", "P", "S"], include_characters=" ")
words = st.text(signs, min_size=1, max_size=20).filter(
    lambda t: bool(t.strip()) and t.isprintable()
)
names = words.filter(lambda t: name_fault(t) is None)
digits = st.integers(1, 9999)
lengths = digits.map(lambda n: f"{n} mm") | digits.map(lambda n: f"{n} +/- 1 mm") | digits.map(str)
tensioners = st.builds(
    TensionerEntry,
    pull=st.sampled_from(["idler", "clamp"]),
    lead=lengths,
    wrap=st.just("180 deg") | digits.map(lambda n: f"{n} deg"),
)
belts = st.builds(
    BeltEntry,
    name=names,
    belt=st.none() | words,
    width=st.none() | lengths,
    linear_mass=st.none() | digits.map(lambda n: f"{n} g/m"),
    roll=st.none() | words,
    joined=st.booleans(),
    span=st.none() | lengths,
    ends=st.none() | st.sampled_from(["pulley", "clamp,idler"]),
    park=st.none() | words,
    target=st.none() | digits.map(lambda n: f"{n} lbf"),
    within=st.none() | st.integers(1, 99).map(lambda n: f"{n} %"),
    fitted=st.none() | st.dates(dt.date(1950, 1, 1), dt.date(2026, 1, 1)),
    tensioner=st.none() | tensioners,
    note=st.none() | words,
)
duties = st.builds(
    DutyEntry,
    name=names,
    drive=st.sampled_from(["looped", "fixed", "crossed", "rotary"]),
    mass=st.none() | digits.map(lambda n: f"{n} kg"),
    belts=st.integers(1, 4),
    teeth=st.none() | st.integers(10, 80),
    slope=st.none() | st.integers(-90, 90).map(lambda n: f"{n} deg"),
    service_factor=st.floats(0.5, 3.0),
    vertical=st.booleans(),
)


@st.composite
def machines(draw: st.DrawFn) -> m.Machine:
    listed = draw(st.lists(belts, min_size=2, max_size=4, unique_by=lambda b: b.name))
    there = [b.name for b in listed]
    pair = draw(names.filter(lambda n: n not in there))
    axes = draw(st.lists(duties, max_size=2, unique_by=lambda d: d.name))
    if axes:
        listed[0] = replace(listed[0], axis=axes[0].name)
    return m.Machine(
        name=draw(words),
        belts={b.name: b for b in listed},
        pairs={pair: PairEntry(pair, (there[0], there[1]), note=draw(st.none() | words))},
        duties={d.name: d for d in axes},
        check_every=draw(digits.map(lambda n: f"{n} d")),
        frame=draw(st.sampled_from([None, "aluminium", "steel"])),
        book=draw(st.sampled_from([None, "book.sqlite"])),
        clocks=draw(
            st.dictionaries(words, st.sampled_from(["+35 ppm", "-1.2(3) ppm"]), max_size=2)
        ),
    )


@settings(max_examples=60, deadline=None)
@given(machines())
def test_what_is_written_is_read_back_the_same(machine: m.Machine) -> None:
    found, mistakes = m.parsed(written(machine), Path("m.toml"))
    assert mistakes == []
    assert found == machine


@settings(max_examples=60, deadline=None)
@given(belts)
def test_a_belt_survives_the_book(entry: BeltEntry) -> None:
    texts = as_texts(entry)
    assert belt_from(texts.pop("name"), texts) == entry


@settings(max_examples=100, deadline=None)
@given(st.text(alphabet=string.printable, max_size=200))
def test_any_text_is_read_or_refused_in_one_line(text: str) -> None:
    machine, mistakes = m.parsed(text, Path("m.toml"))
    assert machine is not None or mistakes
    for mistake in mistakes:
        assert "\n" not in mistake.words
        assert mistake.line >= 1


# --- clocks of sound devices ---------------------------------------------------------------------

CLOCKS = """
[clock]
USB = "+35.1(2) ppm"
"USB Mic" = "-4 ppm"
"""


def test_a_clock_is_found_by_a_part_of_the_devices_name() -> None:
    machine, wrong = m.parsed(CLOCKS, Path("m.toml"))
    assert wrong == []
    assert machine is not None
    assert machine.clock_of("Blue usb mic: Audio") == "-4 ppm"  # the longest name says
    assert machine.clock_of("USB Headset") == "+35.1(2) ppm"
    assert machine.clock_of("default") is None


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ('[clock]\nUSB = "fast"', 2, "no rate error"),
        ("[clock]\nUSB = true", 2, "no rate error"),
        ('[clock]\n\nUSB = "3 %"', 3, "no sound device is"),
        ('clock = "+35 ppm"', 1, "name a sound device"),
    ],
)
def test_a_wrong_clock_is_told_with_its_line(text: str, line: int, said: str) -> None:
    machine, wrong = m.parsed(text, Path("m.toml"))
    assert machine is None
    assert [mistake.line for mistake in wrong] == [line]
    assert said in wrong[0].words


# --- names with every duty -----------------------------------------------------------------------


def one(tmp_path: Path, *lines: str) -> m.Machine:
    path = tmp_path / "one.toml"
    path.write_text("\n".join(lines))
    return m.load(path)


def test_a_rotary_duty_and_an_own_limit_make_the_window(tmp_path: Path) -> None:
    machine = one(
        tmp_path,
        '[belts.x]\nbelt = "HTD5M-15"\naxis = "spindle"\nlimit = "150 N"',
        '[duty.spindle]\ndrive = "rotary"\nteeth = 20\ntorque = "0.5 N m"\nservice_factor = 1.5',
    )
    made = machine.named("x")
    assert made.demand is not None
    assert made.demand.peripheral_n == pytest.approx(1.5 * 0.5 / (20 * 5e-3 / (2 * 3.14159265)))
    assert made.windows.verdict is not None
    assert made.windows.verdict.high_n == pytest.approx(150.0)
    assert made.span is None


def test_the_belts_lengths_say_how_much_the_slack_strand_loses(tmp_path: Path) -> None:
    duty = '[duty.y]\ndrive = "looped"\nmass = "4 kg"\nacceleration = "2000"\nnear = "100 mm"\n'
    belt = '[belts.x]\nbelt = "2GT 9 mm"\naxis = "y"\nloop = "1000 mm"\n'
    whole, part = (
        one(tmp_path, belt, duty, travel).named("x").demand for travel in ("", 'travel = "600 mm"')
    )
    assert whole is not None
    assert part is not None
    assert whole.slack_share == 1.0
    assert part.slack_share == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[belts.x]\nspan = "400 mm"', 'x has no belt: write belt = "2GT 9 mm"'),
        ('[belts.x]\nbelt = "2GT"', "has no width"),
        (
            '[belts.x]\nbelt = "2GT 9 mm"\naxis = "y"\n'
            '[duty.y]\ndrive = "rotary"\ntorque = "1 N m"',
            "the duty y needs its pulley: write teeth = 20",
        ),
        ('[belts.x]\nbelt = "2GT 9 mm"\nlinear_mass = "0 g/m"', "greater than zero"),
        ('[belts.x]\nbelt = "2GT 9 mm"\nwithin = "120 %"', "between 0 and 100 %"),
        ('[belts.x]\nbelt = "2GT 9 mm"\njoined = "yes"', "write joined = true or joined = false"),
        ("[belts.x]\nbelt = 2", "write a text in quotation marks"),
        ('[belts.x]\nnote = "a\\nb"', "without control characters"),
        ("[belts.x]\nspan = true", 'write a length, as in span = "412 mm"'),
        ('[belts.x]\ntensioner = "idler"', "write tensioner = { pull"),
        ('[belts.x]\ntensioner = { pull = "idler" }', "tensioner needs lead"),
        ("belts = 3", "name each of them: [belts.y-left]"),
        ("[belts]\nx = 3", "is no table: write [belts.x]"),
        ("[pairs.y]", "names no belts"),
        ('[duty.y]\nservice_factor = "2"', "write a number above zero"),
        ("[[belts.x]]\nbelt = 1", "is no table"),
    ],
)
def test_what_makes_no_belt_is_told(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "x.toml"
    path.write_text(text)
    assert said in m.mistakes(path)[0].words


def test_a_belt_of_ones_own_is_its_mass_and_its_width(tmp_path: Path) -> None:
    made = one(tmp_path, '[belts.x]\nlinear_mass = "12.6 g/m"\nwidth = "9 mm"\nroll = "A"').named(
        "x"
    )
    assert made.belt.linear_mass.value == pytest.approx(0.0126)
    assert {p.key for p in made.belt.linear_mass.parts} == {"roll:own belt, A"}
