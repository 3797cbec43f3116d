"""The screen of a live measurement: a line for each pluck, and under them what stands now.

Under the lines stand the order, the mean in large figures with its interval, the ruler, what the
plucks say, and the level of the input; this part is redrawn in place.
"""

from __future__ import annotations

from io import BytesIO, TextIOWrapper
from math import log10
from typing import TYPE_CHECKING

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from beltpitch.reading import COVERAGE
from beltpitch.session.live import PHASE_WORDS, QUIETEST_DB
from beltpitch.terminal.big_digits import beside, large
from beltpitch.terminal.drawing import COLOURS, FINE, console, rulers, signs_for
from beltpitch.terminal.live_loop import Cautions, answers_of, line_of
from beltpitch.terminal.pair_view import MATCH_COLOURS, draw_match
from beltpitch.units import FORCE, in_unit

if TYPE_CHECKING:
    from beltpitch.advice.comparison import Comparison
    from beltpitch.session.live import State
    from beltpitch.session.verdict import Verdict

METER = 16  # columns of the level meter


class Screen:
    """Draws states on a terminal.

    Parameters
    ----------
    names
        Of the belts.
    unit
        Unit of force.
    where
        The terminal.
    """

    def __init__(self, names: tuple[str, ...], unit: str, where: Console | None = None) -> None:
        self._names, self._unit = names, unit
        self._where = where or console()
        self._fine = signs_for(self._where) is FINE
        self._live = Live(console=self._where, auto_refresh=False, transient=True)
        self._live.start()
        self._body: list[Text] = []
        self._cautions = Cautions()
        self._status = ""

    def show(self, state: State) -> None:
        """Print a new pluck, and redraw what stands under it."""
        for words in self._cautions.news(state.cautions):
            self._live.console.print(Text(f"! {words}", style="bold"))
        if state.taken is not None:
            style = COLOURS[state.taken.verdict.word] if state.taken.pluck.used else "dim"
            line = line_of(state.taken, self._names, self._unit)
            self._live.console.print(Text(line, style=style))
        self._body = self._drawn(state)
        self._redraw(state, force=True)

    def tick(self, state: State) -> None:
        """Redraw if the level has changed to be seen."""
        self._redraw(state, force=False)

    def close(self) -> None:
        """Clear what was redrawn in place."""
        self._live.stop()

    def _redraw(self, state: State, *, force: bool) -> None:
        status = self._meter(state)
        if not force and status == self._status:
            return
        self._status = status
        self._live.update(Group(*self._body, Text(status, style="dim")), refresh=True)

    def _meter(self, state: State) -> str:
        """Return the line of the input's state: level, phase, keys."""
        db = 20 * log10(max(state.level, 1e-9))
        share = min(1.0, max(0.0, 1 - db / QUIETEST_DB))
        full, empty = ("█", "·") if self._fine else ("#", ".")
        blocks = round(share * METER)
        on = "" if len(self._names) == 1 and state.steps == 1 else "n next, "
        level = f"{db:4.0f} dB" if db > 2 * QUIETEST_DB else "silence"
        meter = f"[{full * blocks}{empty * (METER - blocks)}]"
        keys = f"q end, {on}t turned" if state.question is None else "q end"
        return f"{meter} {level}  {PHASE_WORDS[state.phase]}  ({keys})"

    def _drawn(self, state: State) -> list[Text]:
        """Return what stands under the lines; on a low terminal the ruler gives way first."""
        verdict = state.verdicts[state.subject]
        figures = [] if verdict is None else self._figures(verdict)
        if state.early is not None:
            line = line_of(state.early, self._names, self._unit)
            figures = [Text(f"{line}  (still sounding)", style="dim"), *figures]
        drawn = self._rulers([v for v in state.verdicts if v is not None], state.match)
        words = []
        if state.match is not None:
            words.append(Text(str(state.match), style=f"bold {MATCH_COLOURS[state.match.word]}"))
            do = state.match.turn or state.match.again
            if do is not None:
                words.append(Text(f"to do: {do}"))
            if state.match.hint is not None:
                words.append(Text(state.match.hint))
        words.append(Text(state.advice.words))
        order = [Text(state.order, style="bold")]
        if state.question is not None:
            order.append(Text(answers_of(state.question), style="bold"))
        for body in ([Text(""), *order, *figures, *drawn, *words], [*order, *figures, *words]):
            if self._rows(body) + 1 <= self._where.height - 1:
                return body
        return [*order, *words]

    def _rows(self, body: list[Text]) -> int:
        return sum(len(text.wrap(self._where, self._where.width)) or 1 for text in body)

    def _figures(self, verdict: Verdict) -> list[Text]:
        """Return the mean, large, with its interval."""
        shown = _mean(verdict, self._unit)
        if shown is None:
            return []
        value, half = shown
        block = "█" if self._fine else "#"
        both = beside(large(value, block), large(half, block, wide=1))
        colour = COLOURS[verdict.word]
        rows = [Text(row, style=colour, no_wrap=True, overflow="crop") for row in both]
        word = "" if verdict.word == "cannot tell" else f"   {verdict.said}"
        told = half if self._fine else half.replace("±", "+/-")
        return [*rows, Text(f"{value} {told}{word}", style=f"bold {colour}")]

    def _rulers(self, verdicts: list[Verdict], match: Comparison | None) -> list[Text]:
        if not any(v.reading.preload for v in verdicts):
            return []
        paper = TextIOWrapper(BytesIO(), encoding=self._where.encoding or "ascii")
        aside = Console(
            file=paper,
            width=self._where.width,
            force_terminal=True,
            color_system="truecolor" if self._where.color_system else None,
            highlight=False,
            legacy_windows=False,
        )
        if match is None or match.values_n is None:
            rulers(aside, verdicts, self._unit)
        else:
            draw_match(aside, verdicts, match, self._unit)
        paper.seek(0)
        return [Text.from_ansi(paper.read().rstrip())]


def _mean(verdict: Verdict, unit: str) -> tuple[str, str] | None:
    """Return the preload, or else the frequency, and half its 95 % interval, in words."""
    reading = verdict.reading
    found, name = reading.preload, unit
    if found is None:
        found, name = reading.frequency, "Hz"
    if found is None:
        return None
    low, high = found.interval(COVERAGE)
    value, half = found.value, (high - low) / 2
    if reading.preload is not None:
        value, half = in_unit(value, unit, FORCE), in_unit(half, unit, FORCE)
    digits = 1 if half >= 1 or reading.preload is not None else 2
    return f"{value:.{digits}f} {name}", f"±{half:.{digits}f}"
