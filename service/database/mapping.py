"""Records to rows and back: the only place where the two meet.

Compound parts of a definition (curve, windows, no-water periods, normals) are stored as compact
JSON. Equal parts have equal text, so texts can be compared and each is parsed once.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from datetime import datetime
from functools import lru_cache
from typing import Any

import numpy as np
import orjson
from sqlalchemy import RowMapping

from service.agronomy.records import CurveDefinition, NoWaterPeriod, WallWindow
from service.agronomy.risk_attitude import RiskAttitude
from service.database.bulk import ColumnSet
from service.database.packing import whole
from service.database.timer_text import timer_from, timer_text
from service.pulses import Pulse
from service.records.farms import (
    BLOCK_NUMBERS,
    BlockDefinition,
    BlockTable,
    CountyDefinition,
    FarmDefinition,
    MonthlyNormals,
    SiteDefinition,
    typed_numbers,
)
from service.records.ledger import LEDGER_NUMBERS, LedgerRows
from service.records.plan_reasoning import PlanReasoning, read_reasoning
from service.records.plans import PublishedPlan
from service.records.weather import WEATHER_FIELDS, WeatherRows
from service.records.weather_basis import WeatherBasis
from service.waterworks.block_layout import BlockLayout

_BLOCKS_KEPT = 2048
_TEXTS_KEPT = 16_384  # distinct JSON texts remembered by each parser

BLOCK_ROW_COLUMNS: tuple[str, ...] = (
    "block_key",
    "version",
    "valid_from",
    "recorded_at",
    "is_retired",
    "supply_key",
    "site_key",
    "name",
    "crop_key",
    "balance_start",
    "curve",
    "windows",
    "no_water",
    "origins",
    "layout",
    "timer",
    "visits",
    "digest",
    *BLOCK_NUMBERS,
)


def short_id(block_id: str) -> str:
    """The part of a block's name after the dot."""
    return block_id.rpartition(".")[2]


def digest_of(document: bytes) -> str:
    """Hash that identifies equal content."""
    return hashlib.sha256(document).hexdigest()


# --- farms, sites, counties, supplies ----------------------------------------------------------


def farm_values(farm: FarmDefinition) -> dict[str, Any]:
    """Row of a farm, without its key."""
    return {
        "farm_id": farm.farm_id,
        "name": farm.name,
        "zone": farm.zone,
        "issue_wall_min": farm.issue_wall_min,
        "unit_system": farm.unit_system,
    }


def farm_from(row: RowMapping) -> FarmDefinition:
    """Definition of a farm."""
    return FarmDefinition(
        farm_id=row["farm_id"],
        name=row["name"],
        zone=row["zone"],
        issue_wall_min=row["issue_wall_min"],
        unit_system=row["unit_system"],
    )


def site_values(site: SiteDefinition) -> dict[str, Any]:
    """Row of a site, without its key."""
    normals = None
    if site.normals is not None:
        normals = _text(asdict(site.normals))
    return {
        "site_id": site.site_id,
        "name": site.name,
        "latitude_deg": float(site.latitude_deg),
        "longitude_deg": float(site.longitude_deg),
        "elevation_m": float(site.elevation_m),
        "zone": site.zone,
        "wind_height_m": float(site.wind_height_m),
        "krs_per_sqrt_c": float(site.krs_per_sqrt_c),
        "normals": normals,
    }


def site_from(row: RowMapping) -> SiteDefinition:
    """Definition of a site."""
    normals = None
    if row["normals"] is not None:
        document = orjson.loads(row["normals"])
        # Normals stored by an earlier version of the service may lack one.
        normals = MonthlyNormals(
            **{
                each.name: _floats_or_none(document.get(each.name))
                for each in fields(MonthlyNormals)
            }
        )
    return SiteDefinition(
        site_id=row["site_id"],
        name=row["name"],
        latitude_deg=row["latitude_deg"],
        longitude_deg=row["longitude_deg"],
        elevation_m=row["elevation_m"],
        zone=row["zone"],
        wind_height_m=row["wind_height_m"],
        krs_per_sqrt_c=row["krs_per_sqrt_c"],
        normals=normals,
    )


def county_values(county: CountyDefinition, *, site_key: int) -> dict[str, Any]:
    """Row of a county, without its key."""
    return {"county_code": county.county_code, "name": county.name, "site_key": site_key}


def county_from(row: RowMapping) -> CountyDefinition:
    """Definition of a county; the row carries the site's id."""
    return CountyDefinition(
        county_code=row["county_code"], name=row["name"], site_id=row["site_id"]
    )


# --- blocks ------------------------------------------------------------------------------------


def block_content(block: BlockDefinition) -> tuple[Any, ...]:
    """The content of a block's version row: its columns from ``name`` on.

    The digest covers all of it and the names of supply and site, so two definitions have the same
    digest exactly when their content is the same.
    """
    values = (
        block.name,
        block.crop_key,
        block.balance_start,
        curve_text(block.curve),
        windows_text(block.windows),
        no_water_text(block.no_water),
        _text(dict(block.origins)),
    )
    layout = None if block.layout is None else layout_text(block.layout)
    timer = None if block.timer is None else timer_text(block.timer)
    visits = windows_text(block.visits) if block.visits else None
    # A block without one of the three keeps the digest that it had before they were known.
    hashed = (*values, *(text for text in (layout, timer, visits) if text is not None))
    numbers = [float(getattr(block, name)) for name in BLOCK_NUMBERS]
    # The evening rule is what every block had before there was a choice: it keeps its digest too.
    chosen = [
        number
        for name, number in zip(BLOCK_NUMBERS, numbers, strict=True)
        if name != "risk_attitude" or number != RiskAttitude.CLASSIC
    ]
    is_chosen = block.risk_attitude != RiskAttitude.CLASSIC or block.has_stated_attitude
    digest = digest_of(orjson.dumps([block.supply_id, block.site_id, *hashed, *chosen]))
    stored_start = None if block.balance_start is None else block.balance_start.isoformat()
    return (
        *values[:2],
        stored_start,
        *values[3:],
        *(layout, timer, visits),
        digest,
        *(
            None if math.isnan(number) or (name == "risk_attitude" and not is_chosen) else number
            for name, number in zip(BLOCK_NUMBERS, numbers, strict=True)
        ),
    )


CONTENT_DIGEST = BLOCK_ROW_COLUMNS.index("digest") - BLOCK_ROW_COLUMNS.index("name")
"""Index of the digest in what :func:`block_content` returns."""


@lru_cache(maxsize=_BLOCKS_KEPT)
def known_block(names: tuple[str, ...], values: tuple[Any, ...]) -> BlockDefinition:
    """A block by its columns; versions never change, so each is read from its texts once."""
    return block_from(dict(zip(names, values, strict=True)))


def block_from(row: Mapping[Any, Any]) -> BlockDefinition:
    """Definition of a block; the row carries the ids of its farm, supply and site."""
    numbers = typed_numbers({name: nan_if_none(row[name]) for name in BLOCK_NUMBERS})
    return BlockDefinition(
        block_id=row["block_id"],
        farm_id=row["farm_id"],
        supply_id=row["supply_id"],
        site_id=row["site_id"],
        name=row["name"],
        crop_key=row["crop_key"],
        curve=curve_from(row["curve"]),
        windows=windows_from(row["windows"]),
        no_water=no_water_from(row["no_water"]),
        balance_start=row["balance_start"],
        origins=orjson.loads(row["origins"]),
        layout=None if row["layout"] is None else layout_from(row["layout"]),
        timer=None if row["timer"] is None else timer_from(row["timer"]),
        visits=() if row["visits"] is None else windows_from(row["visits"]),
        **numbers,
    )


def block_table(columns: ColumnSet) -> BlockTable:
    """Blocks as columns; equal curves, windows and periods are one shared object."""
    return BlockTable(
        keys=columns.ints("block_key"),
        block_ids=tuple(columns.texts("block_id")),
        farm_keys=columns.ints("farm_key"),
        site_keys=columns.ints("site_key"),
        supply_keys=columns.ints("supply_key"),
        numbers={name: columns.floats(name) for name in BLOCK_NUMBERS},
        curves=tuple(map(curve_from, columns.texts("curve"))),
        windows=tuple(map(windows_from, columns.texts("windows"))),
        no_water=tuple(map(no_water_from, columns.texts("no_water"))),
        timers=tuple(timer_from(text) if text else None for text in columns.texts("timer")),
        visits=tuple(windows_from(text) if text else () for text in columns.texts("visits")),
        balance_start=columns.days("balance_start"),
        valid_from=columns.days("valid_from"),
    )


@lru_cache(maxsize=_TEXTS_KEPT)
def curve_text(curve: CurveDefinition) -> str:
    """A curve as JSON."""
    floor_c = curve.degree_day_floor_c
    return _text(
        {
            "basis": curve.basis,
            "season_start": curve.season_start,
            "stage_knots": [float(knot) for knot in curve.stage_knots],
            "degree_day_floor_c": None if floor_c is None else float(floor_c),
            "points": [(month, day, float(kc)) for month, day, kc in curve.points],
        }
    )


@lru_cache(maxsize=_TEXTS_KEPT)
def curve_from(text: str) -> CurveDefinition:
    """The curve from its JSON."""
    document = orjson.loads(text)
    month, day = document["season_start"]
    return CurveDefinition(
        basis=document["basis"],
        season_start=(month, day),
        stage_knots=tuple(document["stage_knots"]),
        degree_day_floor_c=document["degree_day_floor_c"],
        points=tuple((month, day, kc) for month, day, kc in document["points"]),
    )


@lru_cache(maxsize=_TEXTS_KEPT)
def windows_text(windows: tuple[WallWindow, ...]) -> str:
    """Windows as JSON."""
    return _text([(window.opens_wall_min, window.closes_wall_min) for window in windows])


@lru_cache(maxsize=_TEXTS_KEPT)
def windows_from(text: str) -> tuple[WallWindow, ...]:
    """The windows from their JSON."""
    return tuple(WallWindow(opens, closes) for opens, closes in orjson.loads(text))


@lru_cache(maxsize=_TEXTS_KEPT)
def no_water_text(periods: tuple[NoWaterPeriod, ...]) -> str:
    """No-water periods as JSON; their times are wall-clock times without an offset."""
    return _text(
        [
            (period.starts_local.isoformat(), period.ends_local.isoformat(), period.reason)
            for period in periods
        ]
    )


@lru_cache(maxsize=_TEXTS_KEPT)
def no_water_from(text: str) -> tuple[NoWaterPeriod, ...]:
    """The periods from their JSON."""
    return tuple(
        NoWaterPeriod(datetime.fromisoformat(starts), datetime.fromisoformat(ends), reason)
        for starts, ends, reason in orjson.loads(text)
    )


@lru_cache(maxsize=_TEXTS_KEPT)
def layout_text(layout: BlockLayout) -> str:
    """A layout as JSON; an open bound is null."""
    return _text(
        {
            each.name: None if value == math.inf else value
            for each in fields(layout)
            for value in (getattr(layout, each.name),)
        }
    )


@lru_cache(maxsize=_TEXTS_KEPT)
def layout_from(text: str) -> BlockLayout:
    """The layout from its JSON."""
    document = orjson.loads(text)
    for name in ("row_profile", "manifold_profile"):
        document[name] = tuple((along, height) for along, height in document[name])
    for name in ("regulator_highest_flow_l_per_h", "regulator_highest_head_m"):
        if document[name] is None:
            document[name] = math.inf
    return BlockLayout(**document)


# --- weather, ledger ---------------------------------------------------------------------------


def weather_rows(columns: ColumnSet) -> WeatherRows:
    """Weather days as columns."""
    return WeatherRows(
        site_keys=columns.ints("site_key"),
        days=columns.days("day"),
        sources=tuple(columns.texts("source")),
        kinds=tuple(columns.texts("kind")),
        issued_at=tuple(columns.instants("issued_at")),
        wind_height_m=columns.floats("wind_height_m"),
        fields={name: columns.floats(name) for name in WEATHER_FIELDS},
        field_notes=_field_notes(columns.texts("field_notes")),
        fetched_at=tuple(columns.instants("fetched_at")),
    )


def _field_notes(texts: Sequence[str | None]) -> tuple[Mapping[str, Mapping[str, object]], ...]:
    """Notes per row; rows without any share one empty object, equal texts one parsed object."""
    nothing: Mapping[str, Mapping[str, object]] = {}
    known = {text: orjson.loads(text) if text else nothing for text in set(texts)}
    return tuple(known[text] for text in texts)


def field_notes_text(notes: Mapping[str, Mapping[str, object]]) -> str | None:
    """Notes of one row as text, keys in order so that equal notes are equal text; None: none."""
    return orjson.dumps(notes, option=orjson.OPT_SORT_KEYS).decode() if notes else None


def ledger_rows(columns: ColumnSet) -> LedgerRows:
    """Ledger days as columns."""
    return LedgerRows(
        block_keys=columns.ints("block_key"),
        days=columns.days("day"),
        is_observed=columns.flags("is_observed"),
        irrigation_origin=columns.ints("irrigation_origin"),
        flags=columns.ints("flags"),
        numbers={name: columns.floats(name) for name in LEDGER_NUMBERS},
    )


# --- plans -------------------------------------------------------------------------------------


def pulses_from(text: str) -> tuple[Pulse, ...]:
    """Pulses from their stored text."""
    return tuple(map(Pulse._make, orjson.loads(text)))


def reasoning_of(row: RowMapping) -> PlanReasoning:
    """The reasoning of a plan, which may have been packed."""
    return read_reasoning(whole(row["numbers"], row["packed"], row["model_numbers"]))


def plan_from(row: RowMapping, *, weather: WeatherBasis) -> PublishedPlan:
    """A stored plan version."""
    return PublishedPlan(
        plan_key=row["plan_key"],
        block_id=row["block_id"],
        day=row["day"],
        version=row["version"],
        status=row["status"],
        issued_at=row["issued_at"],
        superseded_at=row["superseded_at"],
        planned_min=row["planned_min"],
        gross_mm=nan_if_none(row["gross_mm"]),
        net_mm=nan_if_none(row["net_mm"]),
        pulses=pulses_from(row["pulses"]),
        reasoning=reasoning_of(row),
        weather=weather,
    )


def _text(document: object) -> str:
    return orjson.dumps(document, option=orjson.OPT_SORT_KEYS).decode()


def nan_if_none(value: float | None) -> float:
    """A number of a row; NULL means not known."""
    return np.nan if value is None else value


def _floats_or_none(values: list[float] | None) -> tuple[float, ...] | None:
    return None if values is None else tuple(values)
