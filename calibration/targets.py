"""What was aimed at beside what was measured, read from the tables that stand in the document."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.evidence import Kept
from calibration.measures import Share


@dataclass(frozen=True, slots=True)
class Target:
    """One aim: a share of one line of one table, at least or at most a limit.

    ``hits`` and ``of`` name the counts the share is made of.
    """

    words: str
    table: str
    group: str
    hits: str
    of: str
    least: float | None = None
    most: float | None = None


def _quality(table: str, group: str, answered: float, close: float, wrong: float) -> list[Target]:
    where = f"{table}, {group}"
    return [
        Target(f"{where}: answered", table, group, "answered", "count", least=answered),
        Target(
            f"{where}: within 0.5 %", table, group, "within_half_percent", "answered", least=close
        ),
        Target(f"{where}: wrong by > 2 %", table, group, "wrong", "answered", most=wrong),
    ]


_STRICT = "spread up to 0.2 %"
TARGETS: tuple[Target, ...] = (
    Target(
        f"clean, {_STRICT}: within 0.5 %",
        "clean",
        _STRICT,
        "within_half_percent",
        "count",
        least=0.97,
    ),
    Target(f"clean, {_STRICT}: wrong by > 2 %", "clean", _STRICT, "wrong", "count", most=0.0),
    *_quality("belts", "all", 0.92, 0.97, 0.003),
    Target("belts: least in the fit's interval", "belts", "all", "covered", "answered", least=0.92),
    Target("belts: most in the fit's interval", "belts", "all", "covered", "answered", most=0.98),
    *_quality("real", "20 dB", 0.97, 0.98, 0.003),
    *_quality("real", "10 dB", 0.85, 0.97, 0.005),
    *_quality("real-three", "10 dB", 0.95, 0.97, 0.005),
    *_quality("real-range", "10 dB", 0.95, 0.97, 0.005),
)
LARGEST_RATIO = 1.15
FROM_RATIO_DB = 20.0  # peak over noise from which the bound is to be reached


def _verdict(target: Target, share: Share) -> str:
    """Return "met", "missed", or "open" where the limits of the share hold the target."""
    low, high = share.limits()
    if target.least is not None:
        inside = low < target.least <= high
        met = share.value >= target.least
    else:
        assert target.most is not None
        inside = low <= target.most < high
        met = share.value <= target.most
    word = "met" if met else "missed"
    return f"{word}, within chance" if inside else word


def _share(target: Target, rows: Mapping[str, Mapping[str, int]]) -> Share | None:
    row = rows.get(target.group)
    return None if row is None else Share(row[target.hits], row[target.of])


def _ratios(kept: Mapping[str, Kept]) -> list[str]:
    """Return the line for the bound: the share of settings whose ratio is within the target."""
    if "efficiency" not in kept:
        return []
    rows: Sequence[Mapping[str, Any]] = kept["efficiency"].record.get("settings", ())
    ratios = [row["ratio"] for row in rows if row["snr_db"] >= FROM_RATIO_DB and row["ratio"]]
    if not ratios:
        return []
    good = sum(ratio <= LARGEST_RATIO for ratio in ratios)
    word = "met" if good == len(ratios) else "missed"
    return [
        f"| error over the bound from {FROM_RATIO_DB:g} dB on | at most {LARGEST_RATIO} | "
        f"{good} of {len(ratios)} settings; worst {max(ratios):.2f} | {word} |"
    ]


def table(tables: Sequence[Kept]) -> str:
    """Return the table of targets, for what is measured so far."""
    kept = {each.name: each for each in tables}
    lines = ["| | target % | measured % | |", "|---|---|---|---|", *_ratios(kept)]
    for target in TARGETS:
        if target.table not in kept:
            continue
        share = _share(target, kept[target.table].record.get("rows", {}))
        if share is None:
            continue
        aim = (
            f"at least {100 * target.least:g}"
            if target.least is not None
            else f"at most {100 * (target.most or 0.0):g}"
        )
        lines.append(f"| {target.words} | {aim} | {share} | {_verdict(target, share)} |")
    return "\n".join(lines)
