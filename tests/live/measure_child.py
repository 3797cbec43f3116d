"""Measures live at a rate and block size of the test's choice, and prints what ``listen`` would.

``measure_child.py RATE BLOCK PLUCKS SECONDS``: the same loop and face as the command.
"""

from __future__ import annotations

import sys

from beltpitch.audio.microphone import open_microphone
from beltpitch.session.live import Measuring
from beltpitch.session.session import Subject
from beltpitch.session.verdict import as_json
from beltpitch.terminal.keyboard import Keys
from beltpitch.terminal.live_loop import JsonLines, Run, print_line


def main(rate: str, block: str, plucks: str, seconds: str) -> None:
    with (
        open_microphone(rate_hz=float(rate), block_frames=int(block)) as microphone,
        Keys() as keys,
    ):
        sys.stderr.write(f"listening at {microphone.rate_hz:.0f} Hz\n")
        sys.stderr.flush()
        measuring = Measuring(microphone.rate_hz, [Subject("belt")], plucks=int(plucks))
        run = Run(
            measuring,
            JsonLines(("belt",)),
            keys,
            seconds=float(seconds),
            over=lambda: measuring.complete,
        )
        run.follow(microphone)
    verdicts = [as_json(v) for each in measuring.verdicts for v in each]
    print_line({"schema": 1, "readings": verdicts})


if __name__ == "__main__":
    main(*sys.argv[1:])
