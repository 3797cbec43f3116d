"""Local gravity, for weights that hang.

Source: normal gravity of WGS 84, closed form of Somigliana with the second-order free-air series
(NIMA TR8350.2, third edition, equations 4-1 and 4-3, constants of its tables 3.1 and 3.4; written
from memory, tested against the published values at equator, 45 degrees and pole).
"""

from __future__ import annotations

import math

from beltpitch.errors import RequestError
from beltpitch.uncertainty import Estimate, rectangular

EQUATOR = 9.7803253359  # m/s^2
SOMIGLIANA = 0.00193185265241
ECCENTRICITY2 = 0.00669437999014
MAJOR_AXIS_M = 6378137.0
FLATTENING = 1 / 298.257223563
CENTRIFUGAL = 0.00344978650684  # m = omega^2 a^2 b/GM

STANDARD = 9.80665  # m/s^2, by definition
# Normal gravity is 9.780 at the equator and 9.832 at the pole; 2 km of height take off 0.006.
STANDARD_LIMIT = 0.03
# Mountains and rocks move gravity from normal: within 100 milligal nearly everywhere (from memory).
ANOMALY_LIMIT = 0.001
HIGHEST_M, LOWEST_M = 6000.0, -500.0


def normal_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Return normal gravity in m/s^2 at a latitude and a height above the sea.

    Raises
    ------
    RequestError
        If nobody can live there.
    """
    if not abs(latitude_deg) <= 90:  # noqa: PLR2004
        raise RequestError(f"latitude is {latitude_deg:g} degrees, must lie between -90 and 90")
    if not LOWEST_M <= height_m <= HIGHEST_M:
        raise RequestError(
            f"height is {height_m:g} m, must lie between {LOWEST_M:g} and {HIGHEST_M:g} m"
        )
    sin2 = math.sin(math.radians(latitude_deg)) ** 2
    at_sea = EQUATOR * (1 + SOMIGLIANA * sin2) / math.sqrt(1 - ECCENTRICITY2 * sin2)
    up = height_m / MAJOR_AXIS_M
    shape = 1 + FLATTENING + CENTRIFUGAL - 2 * FLATTENING * sin2
    return at_sea * (1 - 2 * shape * up + 3 * up**2)


def gravity(latitude_deg: float | None = None, height_m: float = 0.0) -> Estimate:
    """Return local gravity with its uncertainty; without a latitude, anywhere people live."""
    if latitude_deg is None:
        value, limit = STANDARD, STANDARD_LIMIT
    else:
        value, limit = normal_gravity(latitude_deg, height_m), ANOMALY_LIMIT
    return Estimate.single(value, rectangular(limit), name="gravity", key="gravity")
