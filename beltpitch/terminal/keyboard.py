"""Single keys from the terminal, without waiting and without Enter."""

from __future__ import annotations

import os
import select
import sys
from types import TracebackType
from typing import Any, Self


class Keys:
    """Keys as they are pressed, where standard input is a terminal; otherwise there are none.

    To be used in a ``with`` statement: it changes the terminal and puts it back.
    """

    def __init__(self) -> None:
        self._before: Any = None

    def __enter__(self) -> Self:
        """Let keys through one by one."""
        if sys.platform != "win32" and self.there():
            import termios
            import tty

            self._before = termios.tcgetattr(sys.stdin)
            tty.setcbreak(sys.stdin)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Put the terminal back."""
        if sys.platform != "win32" and self._before is not None:
            import termios

            termios.tcsetattr(sys.stdin, termios.TCSADRAIN, self._before)
            self._before = None

    @staticmethod
    def there() -> bool:
        """Whether somebody can press keys."""
        return sys.stdin is not None and sys.stdin.isatty()

    def pressed(self) -> str:
        """Return the keys pressed since the last time, in order; empty if none."""
        if sys.platform == "win32":
            return _pressed_on_windows()
        if self._before is None:
            return ""

        found = b""
        while select.select([sys.stdin], [], [], 0)[0]:
            more = os.read(sys.stdin.fileno(), 64)
            if not more:
                break
            found += more
        return found.decode("utf-8", "ignore")


def _pressed_on_windows() -> str:
    """Written, not run: no Windows at hand."""
    import importlib

    if not Keys.there():
        return ""
    msvcrt: Any = importlib.import_module("msvcrt")
    found = ""
    while msvcrt.kbhit():
        found += msvcrt.getwch()
    return found
