"""Local gravity."""

from __future__ import annotations

import pytest

from beltpitch.belts.gravity import gravity, normal_gravity
from beltpitch.errors import RequestError


def test_published_values_of_the_ellipsoid() -> None:
    # WGS 84 (NIMA TR8350.2): equator and pole. GRS 80 (Moritz 2000) has 9.780 326 7715 and, at 45
    # degrees, 9.806 199 203; both ellipsoids have the same shape.
    assert normal_gravity(0.0) == pytest.approx(9.7803253359, abs=1e-10)
    assert normal_gravity(90.0) == pytest.approx(9.8321849378, abs=2e-9)
    shape = normal_gravity(45.0) / normal_gravity(0.0)
    assert shape == pytest.approx(9.806199203 / 9.7803267715, rel=1e-9)


def test_free_air() -> None:
    # the textbook gradient, 0.3086 mGal for each metre
    assert normal_gravity(45.0) - normal_gravity(45.0, 1000.0) == pytest.approx(3.086e-3, rel=1e-3)


def test_south_is_as_north() -> None:
    assert normal_gravity(-33.0) == normal_gravity(33.0)


def test_without_a_latitude_anywhere_lies_within() -> None:
    anywhere = gravity()
    limit = 3**0.5 * anywhere.u
    for latitude in (0.0, 90.0):
        assert abs(normal_gravity(latitude) - anywhere.value) < limit
    assert gravity(51.0).u < anywhere.u / 20


def test_nowhere_is_refused() -> None:
    with pytest.raises(RequestError, match="latitude is 91"):
        normal_gravity(91.0)
    with pytest.raises(RequestError, match="height is 9000"):
        normal_gravity(45.0, 9000.0)
