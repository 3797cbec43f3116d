"""The picture of one pluck in a recording: what was heard of it, or why it was refused."""

from __future__ import annotations

from pathlib import Path

from beltpitch.errors import CannotTell
from beltpitch.pitch.results import FrequencyRange
from beltpitch.present.plots import PluckView
from beltpitch.reading import heard_in


def portrait(path: Path, expected: FrequencyRange) -> PluckView:
    """Return the view of the first pluck that was used, else of the first that was refused.

    Parameters
    ----------
    path
        The recording.
    expected
        Where the fundamental must lie.

    Raises
    ------
    CannotTell
        If nothing began in the recording that could be drawn.
    """
    plucks, heard = heard_in(path, expected)
    by_onset = {p.onset_s: p for p in plucks if p.onset_s is not None}
    shown = [h for h in heard.plucks if h.onset_s in by_onset]
    if not shown:
        raise CannotTell(f"no picture of {path.name}: {heard.reason or 'no pluck was heard'}")
    best = next((h for h in shown if h.used), shown[0])
    assert best.onset_s is not None
    pluck, pitch = by_onset[best.onset_s], best.pitch
    words = f"{path.name}, pluck at {best.onset_s:.2f} s"
    what = f"{pitch.frequency_hz:.2f} Hz" if pitch else (best.reason or "refused").split(";")[0]
    return PluckView(
        samples=pluck.samples,
        rate_hz=pluck.rate_hz,
        onset_s=pluck.onset / pluck.rate_hz,
        used_s=pitch.used_s if pitch else None,
        partials=tuple((p.number, p.frequency_hz) for p in pitch.partials) if pitch else (),
        steady_hz=heard.steady_hz,
        title=f"{words}: {what}",
    )
