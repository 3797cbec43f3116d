"""The sound bench for the tests of the live input."""

from tests.soundbench import bench, start_bench

__all__ = ["bench", "start_bench"]
