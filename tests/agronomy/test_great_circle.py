"""Distances along the ground, on a sphere."""

from __future__ import annotations

import math

import numpy as np
import pytest

from service.agronomy.great_circle import EARTH_RADIUS_KM, distance_km


def between(first: tuple[float, float], second: tuple[float, float]) -> float:
    (a, b), (c, d) = first, second
    return distance_km(np.array([a]), np.array([b]), np.array([c]), np.array([d])).item()


def test_a_quarter_and_a_half_of_the_circle() -> None:
    quarter_km = math.pi / 2.0 * EARTH_RADIUS_KM
    assert between((0.0, 0.0), (90.0, 50.0)) == pytest.approx(quarter_km)
    assert between((0.0, 0.0), (0.0, 90.0)) == pytest.approx(quarter_km)
    assert between((40.0, 10.0), (-40.0, -170.0)) == pytest.approx(2.0 * quarter_km)


def test_a_degree_of_longitude_shrinks_with_latitude() -> None:
    at_equator, at_sixty = between((0.0, 0.0), (0.0, 1.0)), between((60.0, 0.0), (60.0, 1.0))
    assert at_sixty / at_equator == pytest.approx(0.5, rel=1e-4)  # cos 60 degrees


def test_across_the_date_line_and_to_itself() -> None:
    assert between((0.0, 179.5), (0.0, -179.5)) == pytest.approx(between((0.0, 0.0), (0.0, 1.0)))
    assert between((38.1, -121.6), (38.1, -121.6)) == 0.0


def test_every_place_against_every_other() -> None:
    latitude, longitude = np.array([38.0, 38.5, 39.0]), np.array([-121.0, -121.5, -122.0])
    table = distance_km(latitude, longitude, latitude[:2], longitude[:2])
    assert table.shape == (3, 2)
    np.testing.assert_allclose(table[:2], table[:2].T)
