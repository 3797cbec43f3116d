"""The tools of the evidence: peers in narrow ranges, targets while a table is not made yet."""

from __future__ import annotations

import numpy as np
import pytest

from calibration import peers, speed, targets
from calibration.evidence import Kept


@pytest.mark.parametrize(("low_hz", "high_hz"), [(180.0, 240.0), (300.0, 420.0), (15.0, 45.0)])
@pytest.mark.parametrize("name", list(peers.PEERS))
def test_peers_answer_in_a_narrow_range(name: str, low_hz: float, high_hz: float) -> None:
    true_hz = np.sqrt(low_hz * high_hz)
    time = np.arange(round(1.5 * peers.RATE_HZ)) / peers.RATE_HZ
    sound = np.exp(-time) * sum(np.sin(2 * np.pi * n * true_hz * time) / n for n in (1, 2, 3))
    answer = peers.PEERS[name](sound, low_hz, high_hz)
    assert answer is not None
    assert answer == pytest.approx(true_hz, rel=0.05)


def test_pyin_keeps_its_own_rate_where_the_range_has_room() -> None:
    assert peers._transition_rate(peers.LOW_HZ, peers.HIGH_HZ, 1024) == peers.PYIN_RATE
    assert peers._transition_rate(100.0, 101.0, 64) == 0.0


def test_targets_leave_out_what_is_not_measured_yet() -> None:
    row = {"count": 100, "answered": 99, "within_half_percent": 99, "wrong": 0, "covered": 95}
    made = Kept("belts", {"rows": {"all": row}}, "")
    text = targets.table([made, Kept("real", {}, ""), Kept("efficiency", {}, "")])
    assert "belts, all: answered" in text
    assert "real" not in text
    assert "bound" not in text


def test_every_speed_table_can_be_asked_for_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        speed.main(["--help"])
    told = capsys.readouterr().out
    assert all(
        name in told
        for name in ("throughput", "throughput-real", "growth", "processes", "live", "books")
    )
