"""``python -m beltpitch``."""

from beltpitch.cli.main import run

run()
