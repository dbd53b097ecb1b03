"""Which feature is which county: by code or name, and never by a guess between two."""

from __future__ import annotations

import pytest

from service.errors import InputInvalid
from service.geography.matching import match_counties

COUNTIES = {"45001": "Alderway", "45003": "Brackmoor County", "45005": "Peña Blanca"}


def test_the_property_that_fits_the_most_counties_is_taken() -> None:
    features = [
        {"id": "1", "STATE": "45", "GEOID": "45001", "NAME": "Alderway County"},
        {"id": "2", "STATE": "45", "GEOID": "45003", "NAME": "BRACKMOOR"},
        {"id": "3", "STATE": "45", "GEOID": "45099", "NAME": "Pen\u0303a  blanca"},
        {"id": "4", "STATE": "45", "GEOID": "45101", "NAME": "Elsewhere"},
    ]
    found = match_counties(features, COUNTIES)
    assert found.name_property == "NAME"
    assert found.features_of == {"45001": (0,), "45003": (1,), "45005": (2,)}
    assert found.unmatched == ("Elsewhere",)
    by_code = match_counties(features, COUNTIES, name_property="GEOID")
    assert by_code.features_of == {"45001": (0,), "45003": (1,)}
    assert by_code.unmatched == ("45099", "45101")


def test_islands_as_features_of_their_own_are_one_county() -> None:
    features = [{"n": "Alderway"}, {"n": "Brackmoor"}, {"n": "Alderway"}, {}]
    found = match_counties(features, COUNTIES)
    assert found.features_of == {"45001": (0, 2), "45003": (1,)}
    assert found.unmatched == ("feature 4",)


def test_nothing_is_guessed_where_two_properties_disagree() -> None:
    features = [{"was": "Alderway", "is": "Brackmoor"}, {"was": "Brackmoor", "is": "Alderway"}]
    with pytest.raises(InputInvalid, match="'was', 'is', which fit as many"):
        match_counties(features, COUNTIES)
    assert match_counties(features, COUNTIES, name_property="is").features_of["45001"] == (1,)


def test_a_name_that_two_counties_have_names_neither() -> None:
    twice = {"1": "Union", "2": "Union County", "3": "Lee"}
    found = match_counties([{"n": "Union"}, {"n": "Lee"}], twice)
    assert found.features_of == {"3": (1,)}


def test_without_a_match_both_sides_are_named() -> None:
    with pytest.raises(InputInvalid) as refused:
        match_counties([{"NOMBRE": "Lejos", "id": "9"}], COUNTIES)
    text = str(refused.value)
    assert "NOMBRE such as 'Lejos'" in text and "45001 (Alderway)" in text
    with pytest.raises(InputInvalid, match="no boundary is that of a known county"):
        match_counties([{"n": "Alderway"}], COUNTIES, name_property="NAME")
