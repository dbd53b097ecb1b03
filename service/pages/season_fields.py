"""Fields for the seasons of a block: of the crop, of its water, and the end of its nitrogen."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import cast

from service.agronomy.block_batch import month_and_day
from service.agronomy.crop_table import CROPS, season_start_at
from service.farm_files.block_keys import WATERING_DAYS
from service.pages.number_fields import digits_of, entered_number
from service.records.farms import BlockDefinition

Form = Mapping[str, str]
Table = dict[str, object]
GIVEN = "given"
_STAGES = ("stage_1", "stage_2", "stage_3", "stage_4")
_SEASON = ("season_start", *_STAGES)
_WATERING = {"watering_from": "from", "watering_to": "to"}
"""Fields, and their keys in the table of the watering season."""
_NITROGEN = "last_nitrogen"
"""A field, and the key of the block that it is."""


@dataclass(frozen=True, slots=True)
class ShownSeasons:
    """What the fields hold of a stored block, and value and source of what was not given."""

    form: Form
    origins: Mapping[str, tuple[str, str]]


def shown_seasons(block: BlockDefinition) -> ShownSeasons:
    """The seasons of a stored block; stages in degree days and own curves have no fields."""
    form: dict[str, str] = {}
    origins: dict[str, tuple[str, str]] = {}
    curve = block.curve
    if curve.basis == "days":
        start = "{:02d}-{:02d}".format(*curve.season_start)
        lengths = [
            digits_of(after - before) for before, after in pairwise((0.0, *curve.stage_knots))
        ]
        origin = block.origins.get("curve", GIVEN)
        if origin == GIVEN:
            form |= {"season_start": start, **dict(zip(_STAGES, lengths, strict=True))}
        else:
            origins["season_start"] = (f"{start}; {', '.join(lengths)}", origin)
    for name, field in zip(_WATERING, WATERING_DAYS, strict=True):
        doy: float = getattr(block, field)
        if math.isnan(doy):
            continue
        day = "{:02d}-{:02d}".format(*month_and_day(int(doy)))
        origin = block.origins.get(field, GIVEN)
        if origin == GIVEN:
            form[name] = day
        else:
            origins[name] = (day, origin)
    if not math.isnan(block.last_nitrogen_doy):
        form[_NITROGEN] = "{:02d}-{:02d}".format(*month_and_day(int(block.last_nitrogen_doy)))
    return ShownSeasons(form, origins)


def entered_seasons(form: Form) -> Table:
    """The tables of both seasons as a farm file writes them; none where nothing was entered."""
    found: Table = {}
    season: Table = {}
    if form.get("season_start"):
        season["start"] = form["season_start"]
    if any(form.get(name) for name in _STAGES):
        season["lengths"] = [entered_number(form, name) for name in _STAGES]
    if season:
        found["season"] = season
    watering = {key: form[name] for name, key in _WATERING.items() if form.get(name)}
    if watering:
        found["watering_season"] = watering
    if form.get(_NITROGEN):
        found[_NITROGEN] = form[_NITROGEN]
    return found


def estimated_season(form: Form, latitude_deg: float) -> ShownSeasons | None:
    """An estimate for a crop without published stages where the form says nothing of its season.

    Nobody's plans rest on it unasked: it is put into the fields with its source, to be checked and
    saved. None for other crops and forms.
    """
    crop = CROPS.get(form.get("crop", ""))
    estimate = None if crop is None else crop.estimated_season
    if estimate is None or any(form.get(name) for name in _SEASON):
        return None
    month, day = season_start_at(latitude_deg, estimate.season_start)
    lengths = map(str, estimate.stage_lengths_day)
    fields = {"season_start": f"{month:02}-{day:02}", **dict(zip(_STAGES, lengths, strict=True))}
    return ShownSeasons(fields, {"season_start": (fields["season_start"], estimate.origin)})


def change_seasons(table: Table, form: Form, shown: Form) -> None:
    """Put what was entered into the stored table of a block, as far as it has changed.

    The default of the watering season follows the crop's season.
    """
    origins = cast("Table", table["origins"])
    entered = entered_seasons(form)
    if any(form.get(name, "") != shown.get(name, "") for name in _SEASON):
        origins.pop("curve", None)
        _replace(table, "season", entered)
        _drop_default_watering(table)
    if any(form.get(name, "") != shown.get(name, "") for name in _WATERING):
        for field in WATERING_DAYS:
            origins.pop(field, None)
        _replace(table, "watering_season", entered)
    if form.get(_NITROGEN, "") != shown.get(_NITROGEN, ""):
        origins.pop("last_nitrogen_doy", None)
        _replace(table, _NITROGEN, entered)


def drop_default_seasons(table: Table) -> None:
    """Remove the seasons that were not given, so that they are recomputed for another crop."""
    origins = cast("Table", table["origins"])
    if origins.pop("curve", None) is not None:
        table.pop("season", None)
    _drop_default_watering(table)


def _drop_default_watering(table: Table) -> None:
    origins = cast("Table", table["origins"])
    dropped = [origins.pop(field, None) for field in WATERING_DAYS]
    if any(origin is not None for origin in dropped):
        table.pop("watering_season", None)


def _replace(table: Table, key: str, entered: Table) -> None:
    table.pop(key, None)
    if key in entered:
        table[key] = entered[key]
