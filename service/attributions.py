"""Attributions for weather data: one entry per source that requires it."""

from __future__ import annotations

from collections.abc import Mapping

from service.records.weather import Attribution

ATTRIBUTIONS: Mapping[str, Attribution] = {
    each.source: each
    for each in (
        Attribution(
            source="open-meteo",
            text="Weather data by Open-Meteo.com",
            url="https://open-meteo.com/",
            licence="CC BY 4.0",
        ),
        Attribution(
            source="nasa-power",
            text=(
                "These data were obtained from the NASA Langley Research Center (LaRC) POWER"
                " Project funded through the NASA Earth Science Directorate Applied Science"
                " Program."
            ),
            url="https://power.larc.nasa.gov/",
            licence="free and open; acknowledgement asked for",
        ),
        Attribution(
            source="nws-grid",
            text="Forecast by the US National Weather Service",
            url="https://www.weather.gov/",
            licence="public domain",
        ),
    )
}


def attribution_line(source: str) -> str | None:
    """The attribution for a source's values, or None.

    >>> attribution_line("nws-grid")
    'Forecast by the US National Weather Service (https://www.weather.gov/, public domain)'
    >>> attribution_line("import") is None
    True
    """
    thanks = ATTRIBUTIONS.get(source)
    return None if thanks is None else f"{thanks.text} ({thanks.url}, {thanks.licence})"
