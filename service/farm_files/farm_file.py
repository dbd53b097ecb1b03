"""A farm file: TOML that describes a farm, its sites, supplies and blocks, read as a whole.

Either the whole file is good and gives one :class:`FarmBundle`, or it gives nothing and
:class:`FarmFileInvalid` lists every fault found, each with its key, the value found and what is
allowed. ``examples/farm-template.toml`` explains every key. Places in lists are counted from 1.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from service.agronomy.records import CurveDefinition
from service.errors import FarmFileInvalid, Fault
from service.farm_files.block_checks import check_block
from service.farm_files.block_file import BlockPlace, read_block
from service.farm_files.block_keys import BlockKeys
from service.farm_files.control_file import check_control, refuse_split_turns, with_supply_timers
from service.farm_files.controller_file import read_controllers
from service.farm_files.farm_export import write_farm_file
from service.farm_files.farm_keys import (
    DEFAULT_WINDOWS,
    ControllerKeys,
    CountyKeys,
    FarmFileKeys,
    FarmKeys,
    NormalsKeys,
    PersonKeys,
    SiteKeys,
    SupplyKeys,
)
from service.farm_files.keys import Key, ZoneKey
from service.farm_files.near_words import one_of
from service.farm_files.places import known_zones, latitude_fault, longitude_fault
from service.farm_files.quantities import show
from service.farm_files.timer_file import read_timer
from service.farm_files.toml_table import TomlTable
from service.farm_files.weekly_file import read_weekly
from service.records.farms import (
    BlockDefinition,
    CountyDefinition,
    FarmBundle,
    FarmDefinition,
    MonthlyNormals,
    SiteDefinition,
    SupplyDefinition,
)
from service.records.mail import Person

__all__ = ["parse_farm", "read_bundle", "read_farm_file", "write_farm_file"]

LARGEST_FILE_BYTES = 5_000_000
_ALLOWED_FILE = "a farm file in TOML, UTF-8, up to 5 MB; examples/farm-template.toml shows one"
_ALLOWED_FARM = "a [farm] table with id, name and zone"
_TOML_PLACE = re.compile(r"(.*) \(at (line \d+, column \d+|end of document)\)", re.DOTALL)


def read_farm_file(path: Path) -> FarmBundle:
    """The farm that a file describes; raises FarmFileInvalid."""
    name = path.name
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE_BYTES + 1)
    except OSError as error:
        raise _unreadable(name, error.strerror or type(error).__name__) from error
    if len(content) > LARGEST_FILE_BYTES:
        raise _unreadable(name, "more than 5,000,000 bytes")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _unreadable(name, "text in UTF-16")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        byte = content[error.start]
        raise _unreadable(f"{name}: line {line}", f"byte 0x{byte:02x}, not UTF-8") from error
    return parse_farm(text, name=name)


def parse_farm(text: str, *, name: str) -> FarmBundle:
    """The farm that a text describes; ``name`` is its name in messages. Raises FarmFileInvalid."""
    if len(text) > LARGEST_FILE_BYTES:
        raise _unreadable(name, "more than 5,000,000 characters")
    content = _parse_toml(text.removeprefix("\ufeff"), name)
    if not content:
        raise _unreadable(name, "a file without any table")
    faults: list[Fault] = []
    bundle = read_bundle(TomlTable(content, f"{name}: ", faults))
    if faults:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        raise FarmFileInvalid(f"{name} cannot be loaded: {count}", faults)
    return bundle


def _unreadable(where: str, found: str) -> FarmFileInvalid:
    return FarmFileInvalid(f"{where} cannot be read", [Fault(where, found, _ALLOWED_FILE)])


def _parse_toml(text: str, name: str) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise _unreadable(name, "lists or tables nested too deep") from error
    except ValueError as error:
        match = _TOML_PLACE.fullmatch(str(error))
        where = f"{name}: {match[2]}" if match else name
        raise FarmFileInvalid(
            f"{name} is not TOML",
            [Fault(where, match[1] if match else str(error), "TOML such as key = value")],
        ) from error


def read_bundle(root: TomlTable) -> FarmBundle:
    """The bundle behind the tables of a file or document; faults go to the root's list."""
    farm_table = root.table(FarmFileKeys.farm)
    farm = _read_farm(farm_table) if farm_table is not None else None
    zone = farm.zone if farm is not None else None
    root.unit_system = farm.unit_system if farm is not None else ""
    site_tables = root.tables(FarmFileKeys.site)
    sites = [_read_site(table, zone) for table in site_tables]
    _refuse_duplicates(site_tables, SiteKeys.id)
    site_ids = tuple(dict.fromkeys(_ids(site_tables, SiteKeys.id)))
    county_tables = root.tables(FarmFileKeys.county)
    counties = [_read_county(table, site_ids) for table in county_tables]
    _refuse_duplicates(county_tables, CountyKeys.code)
    supply_tables = root.tables(FarmFileKeys.supply)
    block_tables = root.tables(FarmFileKeys.block)
    controller_tables = root.tables(FarmFileKeys.controller)
    for key, tables in (
        (FarmFileKeys.supply, supply_tables),
        (FarmFileKeys.block, block_tables),
        (FarmFileKeys.controller, controller_tables),
    ):
        if tables and farm_table is None:
            root.refuse(key, f"[[{key.name}]] without a farm", _ALLOWED_FARM)
    farm_id = farm.farm_id if farm is not None else ""
    supplies = [_read_supply(table, farm_id) for table in supply_tables]
    _refuse_duplicates(supply_tables, SupplyKeys.id)
    known = {supply.supply_id: supply for supply in supplies if supply is not None}
    blocks = _read_blocks(
        block_tables,
        farm,
        {site.site_id: site for site in sites if site is not None},
        known,
        BlockPlace(
            farm_id=farm_id,
            supply_ids=tuple(dict.fromkeys(_ids(supply_tables, SupplyKeys.id))),
            site_ids=site_ids,
            latitudes_deg={each.site_id: each.latitude_deg for each in sites if each is not None},
            rhmin_pct=_rhmin_of_sites(sites),
        ),
    )
    _refuse_duplicates(block_tables, BlockKeys.id)
    controllers = read_controllers(controller_tables, farm_id, blocks)
    blocks = with_supply_timers(blocks, known, controllers)
    for table in supply_tables:
        refuse_split_turns(table, known.get(str(table.value(SupplyKeys.id))), blocks)
    _refuse_duplicates(controller_tables, ControllerKeys.id)
    people = _read_people(root, farm)
    root.close()
    return FarmBundle(
        farm=farm,
        sites=tuple(site for site in sites if site is not None),
        counties=tuple(county for county in counties if county is not None),
        supplies=tuple(supply for supply in supplies if supply is not None),
        blocks=tuple(blocks),
        people=people,
        controllers=tuple(controllers),
    )


def _read_blocks(
    tables: Iterable[TomlTable],
    farm: FarmDefinition | None,
    sites: Mapping[str, SiteDefinition],
    supplies: Mapping[str, SupplyDefinition],
    place: BlockPlace,
) -> list[BlockDefinition]:
    """Blocks without a fault of their own, checked against farm, site and supply."""
    curves: dict[CurveDefinition, CurveDefinition] = {}
    blocks: list[BlockDefinition] = []
    for table in tables:
        block = read_block(table, place, lambda curve: curves.setdefault(curve, curve))
        if block is None:
            continue
        supply, site = supplies.get(block.supply_id), sites.get(block.site_id)
        block = _with_windows(block, supply)
        check_control(table, block, supply)
        check_block(table, block, farm=farm, supply=supply, site=site)
        blocks.append(block)
    return blocks


def _ids(tables: Iterable[TomlTable], key: Key) -> list[str]:
    values = (table.value(key) for table in tables)
    return [value for value in values if isinstance(value, str)]


def _refuse_duplicates(tables: list[TomlTable], key: Key) -> None:
    counts = Counter(_ids(tables, key))
    seen: dict[str, str] = {}
    for table in tables:
        value = table.value(key)
        if not isinstance(value, str) or counts[value] < 2:
            continue
        if value in seen:
            table.refuse(key, show(value), f"a value of its own; {seen[value]} has this one")
        seen.setdefault(value, table.where(key))


def _zone(table: TomlTable, key: ZoneKey, default: str | None) -> str:
    """A zone name; an empty default means that its fault has already been recorded."""
    value = table.value(key)
    if value is None and default is not None:
        return default
    if isinstance(value, str) and value in known_zones():
        return value
    allowed = one_of(value, known_zones())
    example = "an IANA zone name such as 'America/New_York' or 'UTC'"
    table.refuse(key, show(value), allowed or example)
    return ""


def _read_farm(table: TomlTable) -> FarmDefinition:
    farm_id = table.slug(FarmKeys.id)
    farm = FarmDefinition(
        farm_id=farm_id,
        name=table.text(FarmKeys.name, farm_id or "farm"),
        zone=_zone(table, FarmKeys.zone, None),
        issue_wall_min=table.wall_min(FarmKeys.issue_time),
        unit_system=table.choice(FarmKeys.unit_system) or "us",
    )
    table.close()
    return farm


def _read_site(table: TomlTable, farm_zone: str | None) -> SiteDefinition | None:
    faults_before = table.fault_count()
    site_id = table.slug(SiteKeys.id)
    zone = _zone(table, SiteKeys.zone, farm_zone)
    latitude_deg = table.number(SiteKeys.latitude)
    longitude_deg = table.number(SiteKeys.longitude)
    if zone and not math.isnan(latitude_deg):
        allowed = latitude_fault(latitude_deg, zone)
        if allowed is not None:
            table.refuse(SiteKeys.latitude, show(table.value(SiteKeys.latitude)), allowed)
    if zone and not math.isnan(longitude_deg):
        allowed = longitude_fault(longitude_deg, zone)
        if allowed is not None:
            table.refuse(SiteKeys.longitude, show(table.value(SiteKeys.longitude)), allowed)
    site = SiteDefinition(
        site_id=site_id,
        name=table.text(SiteKeys.name, site_id or "site"),
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=table.number(SiteKeys.elevation),
        zone=zone,
        wind_height_m=table.number(SiteKeys.wind_height),
        krs_per_sqrt_c=table.number(SiteKeys.krs),
        normals=_read_normals(table),
    )
    table.close()
    return site if table.fault_count() == faults_before else None


def _read_normals(table: TomlTable) -> MonthlyNormals | None:
    normals = table.table(SiteKeys.normals)
    keys = (
        NormalsKeys.u2_m_s,
        NormalsKeys.rhmin_pct,
        NormalsKeys.et0_mm,
        NormalsKeys.tdew_offset_c,
    )
    months: dict[str, tuple[float, ...]] = {}
    if normals is not None:
        months = {key.name: normals.numbers(key) for key in keys if normals.has(key)}
        normals.close()
    offset = SiteKeys.tdew_offset
    if table.has(offset):
        if NormalsKeys.tdew_offset_c.name in months:
            table.refuse(
                offset, show(table.value(offset)), "either this or tdew_offset_c in normals"
            )
        months[NormalsKeys.tdew_offset_c.name] = (table.number(offset),) * 12
    return MonthlyNormals(**months) if months else None


def _rhmin_of_sites(sites: Sequence[SiteDefinition | None]) -> dict[str, float]:
    return {
        site.site_id: sum(site.normals.rhmin_pct) / len(site.normals.rhmin_pct)
        for site in sites
        if site is not None and site.normals is not None and site.normals.rhmin_pct
    }


def _read_county(table: TomlTable, site_ids: tuple[str, ...]) -> CountyDefinition | None:
    faults_before = table.fault_count()
    code = table.pattern(CountyKeys.code)
    site_id = table.value(CountyKeys.site)
    if site_id not in site_ids:
        allowed = one_of(site_id, site_ids) or "a [[site]] of this file"
        table.refuse(CountyKeys.site, show(site_id), allowed)
    name = table.text(CountyKeys.name, code)
    table.close()
    if table.fault_count() > faults_before:
        return None
    return CountyDefinition(county_code=code, name=name, site_id=str(site_id))


def _read_supply(table: TomlTable, farm_id: str) -> SupplyDefinition | None:
    faults_before = table.fault_count()
    supply_id = table.slug(SupplyKeys.id)
    supply = SupplyDefinition(
        supply_id=supply_id,
        farm_id=farm_id,
        name=table.text(SupplyKeys.name, supply_id or "supply"),
        flow_l_per_h=table.number(SupplyKeys.flow),
        windows=table.windows(SupplyKeys.windows),
        timer=read_timer(table, SupplyKeys.timer),
        weekly_no_water=read_weekly(table),
    )
    table.close()
    return supply if table.fault_count() == faults_before else None


def _read_people(root: TomlTable, farm: FarmDefinition | None) -> tuple[Person, ...]:
    tables = root.tables(FarmFileKeys.person)
    if tables and farm is None:
        root.refuse(FarmFileKeys.person, "[[person]] without a farm", _ALLOWED_FARM)
    people = [_read_person(table, farm) for table in tables]
    _refuse_duplicates(tables, PersonKeys.mail)
    return tuple(person for person in people if person is not None)


def _read_person(table: TomlTable, farm: FarmDefinition | None) -> Person | None:
    faults_before = table.fault_count()
    unit_system = farm.unit_system if farm is not None else "us"
    person = Person(
        mail_address=table.mail_address(PersonKeys.mail),
        name=table.text(PersonKeys.name),
        language=table.choice(PersonKeys.language) or "en",
        unit_system=table.choice(PersonKeys.unit_system, unit_system) or unit_system,
        receives=table.choices(PersonKeys.receives),
    )
    table.close()
    return person if table.fault_count() == faults_before else None


def _with_windows(block: BlockDefinition, supply: SupplyDefinition | None) -> BlockDefinition:
    if block.windows:
        return block
    windows = supply.windows if supply is not None else DEFAULT_WINDOWS
    return replace(
        block, windows=windows, origins={**block.origins, "windows": "windows of the supply"}
    )
