"""Coordinates as people paste them.

35°54'36" is 35 + 54/60 + 36/3600 = 35.91 and 79°13'12" is 79 + 13/60 + 12/3600 = 79.22, by hand.
"""

from __future__ import annotations

import pytest

from service.errors import InputInvalid
from service.pages.coordinates import (
    ALLOWED,
    ALLOWED_RANGE,
    place_text,
    read_coordinates,
    shown_coordinates,
)
from service.translations import wording

PLACE = (35.91, -79.22)


@pytest.mark.parametrize(
    "text",
    [
        "35.91, -79.22",
        "35.91 -79.22",
        "35.91,-79.22",
        "(35.91, -79.22)",
        "geo:35.91,-79.22",
        "35.91; \N{MINUS SIGN}79.22",
        "35.91 / -79.22",
        "35,91 -79,22",
        "35,91; -79,22",
        "35,91, -79,22",
        "35.91N 79.22W",
        "35.91° N, 79.22° W",
        "W 79.22, N 35.91",
        "N 35° 54.6' W 79° 13.2'",
        "35 54.6 -79 13.2",
        "35 54 36 N 79 13 12 W",
        "35 54 36 n, 79 13 12 w",
        "N35 54 36 W79 13 12",
        "35°54'36\"N 79°13'12\"W",
        "35° 54' 36\" N, 79° 13' 12\" W",
        "35º54\N{PRIME}36\N{DOUBLE PRIME}N 79º13\N{PRIME}12\N{DOUBLE PRIME}O",
        "35°54'36''N 79°13'12''W",
        "79°13'12\"W 35°54'36\"N",
        "+35°54'36\" -79°13'12\"",
        "35 degrees 54 minutes 36 seconds north, 79 degrees 13 minutes 12 seconds west",
        "35 grados 54 minutos 36 segundos norte, 79 grados 13 minutos 12 segundos oeste",
        "lat 35.91 lon -79.22",
        "Latitude: 35.91, Longitude: -79.22",
        "Lat: 35.91 N Lon: 79.22 W",
        "lng=-79.22, lat=35.91",
        "latitud 35,91 longitud -79,22",
    ],
)
def test_one_place_is_read_from_every_usual_form(text: str) -> None:
    assert read_coordinates(text) == pytest.approx(PLACE, abs=1e-7)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("-35.91, 149.1", (-35.91, 149.1)),
        ("35, -79", (35.0, -79.0)),
        ("-79.22, 35.91", PLACE),  # no latitude of a farm: the longitude came first
        ("149.1 -35.91", (-35.91, 149.1)),
        ("60.5 66.0", (60.5, 66.0)),
        ("33 26 S 70 40 O", (-33.4333333, -70.6666667)),
        ("0, 0", (0.0, 0.0)),
    ],
)
def test_the_latitude_comes_first_unless_it_can_only_be_a_longitude(
    text: str, place: tuple[float, float]
) -> None:
    assert read_coordinates(text) == pytest.approx(place, abs=1e-7)


@pytest.mark.parametrize(
    "text",
    [
        "", "north", "35.91", "1 2 3", "35.91, -79.22, 12", "1,2,3,4", "35,9,-79,2",
        "35 61 0 N 79 0 0 W", "35.5 30 N 79 0 W", "35N 36N", "35.91N -79.22W", "35.91, x",
        "N, 35, W", "1e4, 3", "nan, 3", "35' 54° N 79 0 W", "lat 35.91 lat 3", "35,54 N",
        "\N{ARABIC-INDIC DIGIT ONE} \N{ARABIC-INDIC DIGIT TWO}", "9" * 400,
    ],
)  # fmt: skip
def test_what_can_be_read_in_two_ways_or_none_is_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(InputInvalid) as refused:
        read_coordinates(text)
    (fault,) = refused.value.faults
    assert (fault.where, fault.allowed) == ("coordinates", ALLOWED)
    assert "35.91, -79.22" in ALLOWED and "latitude first" in ALLOWED


@pytest.mark.parametrize("text", ["95, 200", "N 91 W 10", "35.91 N 181 W", f"{'9' * 50}, 0"])
def test_what_lies_on_no_globe_is_refused_with_the_range(text: str) -> None:
    with pytest.raises(InputInvalid) as refused:
        read_coordinates(text)
    assert refused.value.faults[0].allowed == ALLOWED_RANGE


@pytest.mark.parametrize("place", [PLACE, (-33.4489, -70.6693), (0.0, 151.2), (-0.5, 0.25)])
def test_what_a_field_shows_is_read_back_as_it_was(place: tuple[float, float]) -> None:
    assert read_coordinates(shown_coordinates(*place)) == place


def test_a_place_is_said_with_the_sides_of_the_world() -> None:
    assert place_text(*PLACE, wording("en", "us")) == "35.910° N, 79.220° W"
    assert place_text(-33.5, 151.25, wording("en", "us")) == "33.500° S, 151.250° E"
    assert place_text(*PLACE, wording("es", "us")).endswith("° O")
