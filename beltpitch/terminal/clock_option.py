"""``--clock``: the rate error of a sound device, as said or as the machine file has it."""

from __future__ import annotations

from typing import Annotated

import typer

from beltpitch.store.belt_request import Clock as Clock
from beltpitch.store.belt_request import clock_given as clock_given
from beltpitch.store.belt_request import clock_of as clock_of

ClockOption = Annotated[
    str | None,
    typer.Option(
        "--clock",
        help="Rate error of the sound device, corrected: "
        '"+35 +/- 5 ppm"; recording --reference-tone finds it.',
    ),
]
