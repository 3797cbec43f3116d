"""What is printed on a belt, or said about it, read as profile, width and length.

Accepted, with any dash, slash or space between the pieces and in any case::

    2GT 9 mm   GT2 6mm   HTD5M-15   6 mm GT2          profile and width
    210-3GT-6  GT2-200-6  16 AT5/450                  with length: the larger number, in mm
    XL 037     110 XL 037   XL 3/8 in                 inch codes: length in 1/10, width in 1/100 in
    GT2 6 mm x 852    2 mm GT2, 6 mm                  a length; the tooth pitch, which is skipped
    150S5M500                                         S profiles: width in 1/10 mm, then length
    T5 10 mm steel                                    with words for cord or elastomer
    Acme GT2 6 mm                                     words before the profile, such as a maker's

The grammar is from common practice on belts and in shop lists; it is matched whole, so that a typo
is refused and never read as another belt. Words are skipped, and said to be, only where the rest is
a profile's full name: before a bare pitch such as 5M they may name another profile. A decimal comma
is refused, because elsewhere it separates thousands.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import takewhile

from beltpitch.errors import QuantityError, RequestError

INCH_MM = 25.4
SAME_MM = 0.01

# Three-digit codes round a fraction of an inch down to hundredths (012 is 1/8 in).
INCH_CODES = {
    "012": 0.125,
    "019": 0.1875,
    "025": 0.25,
    "031": 0.3125,
    "037": 0.375,
    "050": 0.5,
    "075": 0.75,
    "100": 1.0,
    "150": 1.5,
    "200": 2.0,
    "300": 3.0,
    "400": 4.0,
    "500": 5.0,
}
LENGTH_CODE = re.compile(r"\d{2,4}")

CORD_WORDS = {
    "GLASS": "glass cord",
    "FIBERGLASS": "glass cord",
    "FIBREGLASS": "glass cord",
    "STEEL": "steel cord",
    "ARAMID": "aramid cord",
    "KEVLAR": "aramid cord",
}
ELASTOMER_WORDS = {
    "RUBBER": "rubber",
    "NEOPRENE": "rubber",
    "CR": "rubber",
    "PU": "polyurethane",
    "POLYURETHANE": "polyurethane",
    "URETHANE": "polyurethane",
}
CONSTRUCTION_WORDS = CORD_WORDS | ELASTOMER_WORDS
FILLER_WORDS = (
    "CORD",
    "CORE",
    "WITH",
    "TIMING",
    "BELT",
    "WIDE",
    "WIDTH",
    "PITCH",
    "OPEN",
    "CLOSED",
    "LOOP",
)

LEAST_TEETH = 20  # a shorter loop does not go round two pulleys; a judgement
MOST_SKIPPED, SHORTEST_SKIPPED = 3, 3  # words, and letters: shorter ones are parts of profiles

_DASHES = r"\-" + "\u2010\u2011\u2012\u2013\u2014\u2015\u2212_\u00d7*"
_NUMBER = r"\d+(?:\.\d+)?"
_UNIT = r"(?:MM|INCHES|INCH|IN)"
# The unit may touch its number; what follows it must not be a letter, so that "MXL" stays whole.
_SIZE = rf"({_NUMBER}) ?({_UNIT}(?![A-Z]))?"


@dataclass(frozen=True, slots=True)
class Designation:
    """A belt's name taken apart.

    Parameters
    ----------
    profile
        The catalogue's own name of the profile.
    width_m, length_m
        What was printed; None where it was not.
    construction_words
        Words such as "steel cord" or "polyurethane" that were found.
    notes
        How it was read, in words to be shown.
    """

    profile: str
    width_m: float | None
    length_m: float | None
    construction_words: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Spelling:
    """One way to write a profile: the profile meant, and a remark where it could mean another.

    The tooth pitch tells a pitch that is written beside the profile from a width.
    """

    profile: str
    pitch_mm: float
    remark: str = ""
    inch: bool = False
    tenths: bool = False


@dataclass(frozen=True, slots=True)
class _Size:
    """A number as written, with its unit if it had one."""

    digits: str
    unit: str | None

    @property
    def mm(self) -> float:
        factor = INCH_MM if self.unit and self.unit.startswith("IN") else 1.0
        return float(self.digits) * factor


def plain(text: str) -> str:
    """Return `text` in upper case with one space for every separator.

    Raises
    ------
    QuantityError
        If it holds a decimal comma.
    """
    out = unicodedata.normalize("NFKC", text).upper()
    if re.search(r"\d,\d", out):
        raise QuantityError(f'"{text}" has a decimal comma: write a point, as in "T2.5 6 mm"')
    out = re.sub("\u2032\u2032|''|\"", " IN", out)
    out = re.sub(
        r"(?<![\w.])(\d+)/(\d+) ?(?=IN)", lambda m: f"{int(m[1]) / max(int(m[2]), 1):.6g} ", out
    )
    out = re.sub(r"(\d|MM|IN)\s*X\s*(?=\d)", r"\1 ", out)  # 6 MM X 852
    return re.sub(rf"[\s/,;(){_DASHES}]+", " ", out).strip()


def read_name(text: str, spellings: Mapping[str, Spelling]) -> Designation | None:
    """Take a belt's name apart.

    Parameters
    ----------
    text
        What is printed or said.
    spellings
        Every way to write a profile, in upper case, and what it means.

    Returns
    -------
    Inscription or None
        None if no profile of that name is known.

    Raises
    ------
    RequestError
        If the profile is known but the numbers beside it make no sense.
    """
    pieces = plain(text).split()
    words = [p for p in pieces if p in CONSTRUCTION_WORDS]
    kept = [p for p in pieces if p not in CONSTRUCTION_WORDS and p not in FILLER_WORDS]
    found = _read_pieces(text, kept, words, spellings)
    skipped = 0
    while found is None and skipped < _skippable(kept, spellings):
        skipped += 1
        full = {w: s for w, s in spellings.items() if not _bare_pitch(w)}
        found = _read_pieces(text, kept[skipped:], words, full)
    if found is None or not skipped:
        return found
    return replace(found, notes=(f'skipped "{" ".join(kept[:skipped])}"', *found.notes))


def _skippable(pieces: list[str], spellings: Mapping[str, Spelling]) -> int:
    """Return how many words at the beginning may be skipped: none that a profile is made of."""
    parts = {chunk for written in spellings for chunk in re.findall("[A-Z]+", written)}
    words = takewhile(
        lambda p: p.isalpha() and len(p) >= SHORTEST_SKIPPED and p not in parts,
        pieces[:MOST_SKIPPED],
    )
    return len(list(words))


def _bare_pitch(written: str) -> bool:
    """Whether a spelling is a pitch alone, such as 5M, which several families of profiles have."""
    return re.fullmatch(r"\d+M", written) is not None


def _read_pieces(
    text: str, pieces: list[str], words: list[str], spellings: Mapping[str, Spelling]
) -> Designation | None:
    flat = " ".join(pieces)
    tight = _squeezed(flat)
    for written in sorted(spellings, key=len, reverse=True):
        if _squeezed(written) not in tight:  # saves compiling a pattern for every belt there is
            continue
        found = re.fullmatch(_pattern(written), flat)
        if found:
            return _inscription(text, found, words, spellings[written])
    return None


def _pattern(written: str) -> str:
    """Return the grammar of a whole name around one spelling of a profile."""
    chunks = re.findall(r"\d+(?:\.\d+)?|[A-Z]+", written)
    profile = " ?".join(re.escape(c) for c in chunks)
    before = r"(?<!\d)" if written[0].isdigit() else ""
    after = r"(?![\d.])" if written[-1].isdigit() else r"(?![A-Z])"
    return rf"(?:{_SIZE} ?)?{before}(?P<profile>{profile}){after}(?: ?{_SIZE})?(?: {_SIZE})?"


def _inscription(
    text: str, found: re.Match[str], words: list[str], spelling: Spelling
) -> Designation:
    sizes = [_Size(found[i], found[i + 1]) if found[i] else None for i in (1, 4, 6)]
    width_mm, length_mm, notes = _sizes(text, sizes, spelling)
    if _squeezed(found["profile"]) != _squeezed(spelling.profile):
        remark = f"; {spelling.remark}" if spelling.remark else ""
        notes = [f'read "{found["profile"]}" as {spelling.profile}{remark}', *notes]
    return Designation(
        profile=spelling.profile,
        width_m=None if width_mm is None else width_mm / 1000,
        length_m=None if length_mm is None else length_mm / 1000,
        construction_words=tuple(CONSTRUCTION_WORDS[w] for w in words),
        notes=tuple(notes),
    )


def _squeezed(name: str) -> str:
    return name.upper().replace(" ", "")


def _sizes(
    text: str, sizes: list[_Size | None], spelling: Spelling
) -> tuple[float | None, float | None, list[str]]:
    """Return (width in mm, length in mm, notes)."""
    before = sizes[0]
    after = [s for s in sizes[1:] if s is not None]
    if before is not None and len(after) == 2:  # noqa: PLR2004 - a pair of sizes is complete
        if _is_pitch(before, spelling):
            width_mm, length_mm, notes = _sizes(text, [None, *after], spelling)
            return width_mm, length_mm, [_as_pitch(spelling), *notes]
        raise RequestError(
            f'"{text}" has three numbers beside the profile: give length and width, '
            'as in "210-3GT-6"'
        )
    if spelling.inch:
        return _inch(before, after)
    if spelling.tenths and before and len(after) == 1 and before.unit is None:
        tenths, other = before.mm / 10, after[0].mm
        if before.mm < other:
            note = f"read {before.digits} before the profile as a width of {tenths:g} mm"
            return tenths, other, [note]
    every = ([before] if before else []) + after
    rest = [s for s in every if not _is_pitch(s, spelling)]
    if len(every) == 2 and len(rest) == 1 and rest[0].mm < LEAST_TEETH * spelling.pitch_mm:  # noqa: PLR2004
        return rest[0].mm, None, [_as_pitch(spelling)]
    return _metric(every)


def _as_pitch(spelling: Spelling) -> str:
    return f"read {spelling.pitch_mm:g} mm as the tooth pitch"


def _is_pitch(size: _Size, spelling: Spelling) -> bool:
    return abs(size.mm - spelling.pitch_mm) < SAME_MM


def _metric(every: list[_Size]) -> tuple[float | None, float | None, list[str]]:
    """One number is the width; of two the larger is the length."""
    if not every:
        return None, None, []
    if len(every) == 1:
        return every[0].mm, None, []
    small, large = sorted(every, key=lambda s: s.mm)
    return small.mm, large.mm, [f"read {large.mm:g} mm as the length of the belt"]


def _inch(before: _Size | None, after: list[_Size]) -> tuple[float | None, float | None, list[str]]:
    """Inch belts: a code of length before the profile, a code of width after it."""
    notes: list[str] = []
    length_mm = None
    if before is not None and before.unit is None and after:
        if LENGTH_CODE.fullmatch(before.digits):
            length_mm = int(before.digits) / 10 * INCH_MM
            notes.append(f"read {before.digits} as a length of {length_mm / INCH_MM:g} in")
        else:
            length_mm = before.mm
            notes.append(f"read {before.digits} as a length of {length_mm:g} mm")
    elif before is not None:
        after = [before, *after]
    if length_mm is None and len(after) > 1:
        width, length, notes = _metric(after)
        return width, length, notes
    if not after:
        return None, length_mm, notes
    size = after[0]
    if size.unit is None and size.digits in INCH_CODES:
        width_mm = INCH_CODES[size.digits] * INCH_MM
        notes.append(f"read {size.digits} as a width of {width_mm:g} mm")
        return width_mm, length_mm, notes
    return size.mm, length_mm, notes
