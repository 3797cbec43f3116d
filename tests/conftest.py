"""For every test: one BLAS thread, no wall clock, and nobody's own book is touched.

The package asks for one thread, so it is imported before numpy.
"""

import beltpitch  # noqa: F401, I001  (asks for one BLAS thread, before numpy is loaded)

from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("house", deadline=None)  # a busy machine is no fault of the code
settings.load_profile("house")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name the tables of the documents that were made from other sources."""
    for report in terminalreporter.stats.get("passed", []):
        stale = dict(report.user_properties).get("stale tables")
        if stale:
            terminalreporter.write_line(f"stale tables, to be made again before a release: {stale}")


@pytest.fixture(autouse=True)
def own_data_folder(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """Let the user's data folder be an empty one, so that readings kept by name go there."""
    folder = tmp_path_factory.mktemp("data")
    monkeypatch.setenv("XDG_DATA_HOME", str(folder))
    return folder
