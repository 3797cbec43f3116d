"""The digest of code: what is written otherwise is the same, what does otherwise is not."""

from __future__ import annotations

from pathlib import Path

import pytest

from calibration.syntax import Sources, definitions

HEARD = '''
"""A room."""
import math
from dataclasses import dataclass

from beltpitch.tools import half

LIMIT, OTHER = 0.5, 2.0  # hertz
UNUSED = 7

@dataclass
class Heard:
    """What is heard."""
    low: float
    high: float

    def width(self, scale: float = 1.0) -> float:
        return (self.high - self.low) * scale

    def as_text(self) -> str:
        return f"{self.low}"

def hear(sound: float, gain: float) -> Heard:
    """Hear."""
    if sound > LIMIT:
        raise ValueError(f"too loud: {sound}")
    found = Heard(low=half(sound), high=math.sqrt(gain))
    return Heard(found.low, found.width(scale=OTHER))

def unused() -> int:
    return 3
'''
TOOLS = """
def half(value: float) -> float:
    return value / 2

def twice(value: float) -> float:
    return value * 2
"""


def written(folder: Path, heard: str = HEARD, tools: str = TOOLS, where: str = "heard") -> Sources:
    package = folder / "beltpitch"
    package.mkdir(exist_ok=True)
    for path in package.glob("*.py"):
        path.unlink()
    (package / f"{where}.py").write_text(heard, encoding="utf-8")
    (package / "tools.py").write_text(tools, encoding="utf-8")
    return Sources(folder)


def digest(folder: Path, *more: str, root: str = "beltpitch.heard:hear") -> str:
    return written(folder, *more).digest([root])


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("# hertz", "# Hz, as judged"),
        ('"""What is heard."""', '"""Two limits."""'),
        ("sound: float, gain", "sound: int,\n         gain"),
        ("Heard", "PitchResult"),
        ("hear(", "estimate("),
        ("LIMIT", "LOUDEST"),
        ("found", "result"),
        ("gain", "amplification"),
        ("low", "lower_hz"),
        ("width", "extent"),
        ("scale", "factor"),
        ("half", "one_of_two"),
        ("too loud: {sound}", "{sound} is too loud"),
        ("UNUSED = 7", "UNUSED = 8"),
        ("return 3", "return 4"),
        ('f"{self.low}"', 'f"from {self.low}"'),
        ("import math", "import math as mathematics"),
    ],
)
def test_another_way_of_writing_is_the_same(tmp_path: Path, old: str, new: str) -> None:
    assert old in HEARD
    heard = HEARD.replace(old, new)
    if old == "import math":
        heard = heard.replace("math.sqrt", "mathematics.sqrt")
    root = "beltpitch.heard:estimate" if old == "hear(" else "beltpitch.heard:hear"
    tools = TOOLS.replace(old, new) if old == "half" else TOOLS
    assert digest(tmp_path, heard, tools, root=root) == digest(tmp_path)


def test_a_moved_file_and_a_moved_function_are_the_same(tmp_path: Path) -> None:
    first = digest(tmp_path)
    moved = written(tmp_path, where="pitch").digest(["beltpitch.pitch:hear"])
    half, twice = TOOLS.split("\n\n")
    heard = HEARD.replace("from beltpitch.tools import half\n", "").replace("UNUSED = 7", half)
    together = digest(tmp_path, heard, twice)
    assert first == moved == together
    by_module = HEARD.replace("from beltpitch.tools import half", "from beltpitch import tools")
    assert digest(tmp_path, by_module.replace("half(", "tools.half(")) == first


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("0.5,", "0.51,"),
        ("sound > LIMIT", "sound >= LIMIT"),
        ("sound > LIMIT", "sound > OTHER"),
        ("self.high - self.low", "self.low - self.high"),
        ("found.low, found.width", "found.high, found.width"),
        ("low=half(sound), high=", "high=half(sound), low="),
        ("math.sqrt", "math.cbrt"),
        ("half(sound)", "half(gain)"),
        ("scale=OTHER", "scale=LIMIT"),
        ("* scale", "+ scale"),
        ("scale: float = 1.0", "scale: float = 1.5"),
        ("    if sound > LIMIT:", "    if not sound > LIMIT:"),
        ("@dataclass\n", "@dataclass(frozen=True)\n"),
        ("import half", "import twice as half"),
        ("sound: float, gain: float", "gain: float, sound: float"),
    ],
)
def test_another_result_is_another_digest(tmp_path: Path, old: str, new: str) -> None:
    assert old in HEARD
    assert digest(tmp_path, HEARD.replace(old, new)) != digest(tmp_path)


def test_what_a_used_function_uses_counts(tmp_path: Path) -> None:
    assert digest(tmp_path, HEARD, TOOLS.replace("/ 2", "/ 3")) != digest(tmp_path)
    assert digest(tmp_path, HEARD, TOOLS.replace("* 2", "* 3")) == digest(tmp_path)


def test_a_root_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(LookupError, match=r"no listen in beltpitch\.heard"):
        written(tmp_path).digest(["beltpitch.heard:listen"])


def test_a_method_counts_once_its_name_is_used(tmp_path: Path) -> None:
    found = list(definitions(written(tmp_path), ["beltpitch.heard:hear"]))
    assert "beltpitch.heard:width" in found
    assert "beltpitch.heard:as_text" not in found
