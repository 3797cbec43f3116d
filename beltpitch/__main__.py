"""``python -m beltpitch``."""

from beltpitch.terminal.main import run

run()
