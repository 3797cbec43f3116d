"""Listens to the microphone in a process of its own and writes down what came.

``record_child.py OUT.npz SECONDS [device=…] [rate=…] [block=…]``: prints one JSON line when sound
flows and one at the end.
"""

from __future__ import annotations

import json
import sys

import numpy as np

from beltpitch.audio.microphone import open_microphone
from beltpitch.errors import SourceError


def say(**facts: object) -> None:
    sys.stdout.write(json.dumps(facts) + "\n")
    sys.stdout.flush()


def main(out: str, seconds: str, *options: str) -> None:
    wanted = dict(option.split("=", 1) for option in options)
    rate, block = wanted.get("rate"), wanted.get("block")
    blocks, overflows, lost, frames = [], 0, None, 0
    with open_microphone(
        wanted.get("device"), float(rate) if rate else None, int(block) if block else None
    ) as microphone:
        say(
            rate_hz=microphone.rate_hz,
            name=microphone.input.name,
            channel_note=microphone.channel_note,
            warnings=microphone.warnings,
        )
        try:
            for each in microphone:
                blocks.append(each.samples)
                overflows += each.overflow
                frames += len(each.samples)
                if frames >= float(seconds) * microphone.rate_hz:
                    break
        except SourceError as error:
            lost = error.message
            assert list(microphone) == [], "nothing comes after the end"
    np.savez(out, samples=np.concatenate(blocks), sizes=[len(each) for each in blocks])
    say(lost=lost, overflows=overflows, frames=frames)


if __name__ == "__main__":
    try:
        main(*sys.argv[1:])
    except SourceError as error:
        say(refused=error.message)
