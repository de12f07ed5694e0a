"""The map of a day's rounds against a published worked example."""

from __future__ import annotations

import pytest

from jobs.planning.round_map import EARTH_RADIUS_KM, transverse_mercator


def test_the_transverse_mercator_of_snyders_numerical_example():
    """Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395 (1987), appendix A.

    Numerical example of the transverse Mercator on the sphere, forward equations: R = 1,
    latitude of origin 0, central meridian 75 W, k0 = 1, latitude 40 30' N, longitude 73 30' W
    give x = 0.0199077 and y = 0.7070276.
    """
    x_km, y_km = transverse_mercator((40.5, -73.5), (0.0, -75.0))

    assert x_km / EARTH_RADIUS_KM == pytest.approx(0.0199077, abs=5e-8)
    assert y_km / EARTH_RADIUS_KM == pytest.approx(0.7070276, abs=5e-8)
