"""What must hold before a release: no table is stale.

    python -m calibration.release
    python -m calibration.release --stamp "the golden answers are the same" docs/accuracy.md

The first names the stale tables and exits with 1 if there are any. The second accepts the tables of
the pages named as those of today's sources, with the reason, which is kept with each table. It is
for sources that were rearranged: the golden answers (`tests/golden`) must be unchanged, otherwise
the tables are made again.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from calibration import evidence


def main(arguments: Sequence[str] | None = None) -> int:
    """Check or stamp; return the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m calibration.release", description=(__doc__ or "").split("\n", 1)[0]
    )
    parser.add_argument("pages", nargs="*", type=Path, help="pages to stamp")
    parser.add_argument("--stamp", metavar="REASON", help="accept the tables of these pages")
    given = parser.parse_args(arguments)
    if bool(given.stamp) != bool(given.pages):
        parser.error("--stamp needs a reason and pages")
    for page in given.pages:
        evidence.stamp(page, given.stamp)
    stale = evidence.stale()
    for name in stale:
        print(f"stale: {name}: made from other sources, make it again", file=sys.stderr)
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
