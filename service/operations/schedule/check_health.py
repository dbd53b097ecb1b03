"""Whether tomorrow's plans rest on sound data: weather that is complete, blocks that make sense.

Nothing is changed. Findings say what to look at. No findings do not prove that all is well, since
the service knows only its own data.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from service.agronomy.block_batch import make_block_batch
from service.agronomy.block_days import crop_days
from service.agronomy.records import Floats
from service.agronomy.watering_rules import pulse_limits
from service.agronomy.weather_agreement import REASON_TEXT, Reason
from service.agronomy.weather_flags import FieldFlag
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.backups.keep_backups import backup_finding, last_backup_at
from service.operations.evening.gather_weather import GatheredWeather, gather_weather, sources_on
from service.operations.evening.own_rain import freshness_of
from service.operations.farms.question_blocks import questions_of
from service.operations.reading.read_farms import blocks_in_force, local_day
from service.ports import Clock
from service.records.farms import BlockDefinition, number_columns
from service.records.weather import SiteFreshness

WATCHED_DAYS = 30
"""Past days that are checked for gaps and flags."""
OUTLOOK_DAYS = 7
STALE_OBSERVED_DAYS = 2
"""Observed weather should reach at least the day before yesterday."""
SHORTEST_FORECAST_DAYS = 2
"""The plan needs a forecast of today and tomorrow."""
WORTH_NOTING = (
    FieldFlag.OUT_OF_RANGE
    | FieldFlag.INCONSISTENT
    | FieldFlag.SUSPECT_JUMP
    | FieldFlag.SUSPECT_STUCK
    | FieldFlag.DEFAULT_WIND
    | FieldFlag.LIMITED_TO_SATURATION
    | FieldFlag.SOURCE_SET_ASIDE
    | FieldFlag.SOURCES_DISAGREE
)


@dataclass(frozen=True, slots=True)
class SiteHealth:
    """The weather of one site."""

    site_id: str
    today: date
    last_observed_day: date | None
    """Last day on which all was measured that reference ET takes from measurements here."""
    measured_until: Mapping[str, date]
    """By group of fields (temperature, humidity, wind, radiation, rain), its last measured day."""
    forecast_until_day: date | None
    missing_days: tuple[date, ...]
    """Days between the first and the last observed one, at most 30 back, without temperatures."""
    flag_day_counts: Mapping[str, int]
    """Days with each flag worth noting, as ``field: flag``."""
    sources: Mapping[str, Mapping[str, list[str]]]
    """For yesterday and tomorrow: where each field comes from."""
    findings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BlockHealth:
    """A block with numbers that look odd."""

    block_id: str
    findings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Health:
    """What was found about all sites and blocks."""

    farm_count: int
    block_count: int
    site_count: int
    county_count: int
    latest_plan_day: date | None
    sites: tuple[SiteHealth, ...]
    blocks: tuple[BlockHealth, ...]
    """Only those with findings."""
    findings: tuple[str, ...]
    """About the service as a whole."""
    questions: tuple[str, ...] = ()
    """What may be a slip in blocks that are otherwise allowed; nothing that needs attention."""

    @property
    def needs_attention(self) -> bool:
        """Whether anything was found."""
        return bool(self.findings or self.blocks or any(site.findings for site in self.sites))


def check_health(
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
    backup_alarm_after: timedelta | None = None,
) -> Health:
    """Look at every site and block, and at the age of the last backup, as of now.

    ``backup_alarm_after``: how old that may be; None: none are expected.
    """
    now = clock.now()
    with unit_of_work(write=False) as unit:
        farms = unit.blocks.list_farms()
        table = unit.blocks.read_site_table()
        today_of = {site.site_id: local_day(now, site.zone) for site in table.definitions}
        # The latest of the days that have begun; without a site, any day will do.
        latest = max(today_of.values(), default=now.date())
        blocks = blocks_in_force(unit, now)
        gathered = (
            gather_weather(
                unit,
                table,
                on=latest,
                now=now,
                first_day=latest - timedelta(days=WATCHED_DAYS + 1),
                last_day=latest + timedelta(days=OUTLOOK_DAYS),
                source_order=source_order,
            )
            if table.definitions
            else None
        )
        sites = () if gathered is None else _site_healths(unit, gathered, today_of)
        latest_plan_day = unit.plans.find_latest_day()
        county_count = len(unit.blocks.list_counties())
        backup = backup_finding(last_backup_at(unit, now), now, alarm_after=backup_alarm_after)
    odd = () if gathered is None else _odd_blocks(blocks, gathered)
    return Health(
        farm_count=len(farms),
        block_count=len(blocks),
        site_count=len(table.definitions),
        county_count=county_count,
        latest_plan_day=latest_plan_day,
        sites=sites,
        blocks=odd,
        findings=(
            *_overall(bool(farms), bool(blocks), latest_plan_day, latest),
            *([backup] if backup else []),
        ),
        questions=questions_of(blocks, latest),
    )


def _overall(
    has_farms: bool, has_blocks: bool, latest_plan_day: date | None, today: date
) -> tuple[str, ...]:
    if not has_farms:
        return ("no farm is stored; `rillwright load FARM.toml` loads one",)
    if not has_blocks:
        return ("no block is in force today",)
    if latest_plan_day is None:
        return ("no plan has been made yet; `rillwright run-day` makes them",)
    if latest_plan_day < today:
        return (f"the latest plan is for {latest_plan_day}; `rillwright run-day` makes a new one",)
    return ()


def _site_healths(
    unit: UnitOfWork, gathered: GatheredWeather, today_of: Mapping[str, date]
) -> tuple[SiteHealth, ...]:
    found = []
    first_day = min(today_of.values()) - timedelta(days=WATCHED_DAYS)
    fresh_of = freshness_of(unit, gathered.sites.keys, first_day=first_day)
    for column, (key, site, fresh) in enumerate(
        zip(gathered.sites.keys.tolist(), gathered.sites.definitions, fresh_of, strict=True)
    ):
        today = today_of[site.site_id]
        span = _measured_span(unit, key)
        forecast = unit.weather.find_span(key, kind="forecast")
        known = gathered.has_temperatures[:, column]
        first, last = span or (today, today)
        is_watched = (
            (gathered.days >= np.datetime64(max(first, today - timedelta(days=WATCHED_DAYS))))
            & (gathered.days <= np.datetime64(last))
            & (gathered.days < np.datetime64(today))
        )
        missing = tuple(gathered.days[is_watched & ~known].tolist())
        counts = _flag_counts(gathered, column, is_watched & known)
        is_ahead = (gathered.days >= np.datetime64(today)) & known
        until = forecast[1] if forecast else None
        found.append(
            SiteHealth(
                site_id=site.site_id,
                today=today,
                last_observed_day=fresh.last_measured_day,
                measured_until=fresh.measured_until,
                forecast_until_day=until,
                missing_days=missing,
                flag_day_counts=counts,
                sources={
                    "yesterday": sources_on(gathered, column, today - timedelta(days=1)),
                    "tomorrow": sources_on(gathered, column, today + timedelta(days=1)),
                },
                findings=_site_findings(
                    today,
                    fresh,
                    until,
                    missing_day_count=len(missing),
                    flag_day_counts=counts,
                    unit_fault=gathered.weather.unit_faults.get(column),
                )
                + _set_aside(gathered, column)
                + _doubted(gathered, column, is_ahead),
            )
        )
    return tuple(found)


def _measured_span(unit: UnitOfWork, site_key: int) -> tuple[date, date] | None:
    """First and last day of a site that was observed or analysed."""
    spans = [unit.weather.find_span(site_key, kind=kind) for kind in ("observed", "analysis")]
    known = [span for span in spans if span is not None]
    return (min(span[0] for span in known), max(span[1] for span in known)) if known else None


def _site_findings(
    today: date,
    fresh: SiteFreshness,
    until: date | None,
    *,
    missing_day_count: int,
    flag_day_counts: Mapping[str, int],
    unit_fault: str | None,
) -> tuple[str, ...]:
    findings = []
    if unit_fault:
        findings.append(f"the weather looks like another unit and is not used: {unit_fault}")
    last = fresh.measured_until.get("temperature")
    if last is None:
        findings.append("no observed weather at all")
    elif (today - last).days > STALE_OBSERVED_DAYS:
        findings.append(f"observed weather ends {(today - last).days} days ago, on {last}")
    else:
        findings += [
            f"{group} was last measured {(today - day).days} days ago, on {day}"
            for group, day in fresh.measured_until.items()
            if (today - day).days > STALE_OBSERVED_DAYS
        ]
    if until is None or (until - today).days < SHORTEST_FORECAST_DAYS - 1:
        findings.append(
            "no forecast for tomorrow; the mean of the last days stands in"
            + (f" (it ends {until})" if until else "")
        )
    if missing_day_count:
        findings.append(f"{missing_day_count} of the last {WATCHED_DAYS} days without temperatures")
    findings += [f"{what}, days: {count}" for what, count in flag_day_counts.items()]
    return tuple(findings)


def _set_aside(gathered: GatheredWeather, column: int) -> tuple[str, ...]:
    """By source, quantity and reason, on how many days a value was set aside."""
    days: dict[str, list[str]] = {}
    for each in gathered.set_aside.get(column, ()):
        why = REASON_TEXT[Reason[str(each["reason"]).upper()]]
        days.setdefault(f"{each['name']} of {each['source']} was set aside: {why}", []).append(
            str(each["day"])
        )
    return tuple(
        f"{text} ({of[0]})" if len(of) == 1 else f"{text} ({len(of)} days from {of[0]})"
        for text, of in days.items()
    )


def _doubted(
    gathered: GatheredWeather, column: int, rows: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> tuple[str, ...]:
    """Quantities of today and the days to come on which nothing settles which source is right."""
    doubts = np.int32(FieldFlag.SOURCES_DISAGREE)
    counts = {
        name: int(((flags[rows, column] & doubts) != 0).sum())
        for name, flags in gathered.weather.checked.flags.items()
    }
    return tuple(
        f"{name}: sources disagree or nothing confirms the value, forecast days: {count}"
        for name, count in counts.items()
        if count
    )


def _flag_counts(
    gathered: GatheredWeather, column: int, rows: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> dict[str, int]:
    counts = {}
    for name, flags in gathered.weather.checked.flags.items():
        own = flags[rows, column]
        for flag in FieldFlag:
            days = int(((own & int(flag)) != 0).sum())
            if flag & WORTH_NOTING and days:
                counts[f"{name}: {(flag.name or '').lower().replace('_', ' ')}"] = days
    return counts


def _odd_blocks(
    blocks: list[BlockDefinition], gathered: GatheredWeather
) -> tuple[BlockHealth, ...]:
    if not blocks:
        return ()
    column_of = {site.site_id: index for index, site in enumerate(gathered.sites.definitions)}
    batch = make_block_batch(
        number_columns(blocks),
        [block.curve for block in blocks],
        site_index=np.array([column_of[block.site_id] for block in blocks]),
        supply_index=np.zeros(len(blocks), dtype=np.int64),
        season_year=gathered.on.year,
    )
    crop = crop_days(batch, gathered.weather.days)
    most_used_mm = _largest(crop.crop_et_mm)
    limits = pulse_limits(batch.system, batch.soil)
    taw_mm = crop.taw_mm[0]
    found = []
    for index, block in enumerate(blocks):
        findings = []
        if most_used_mm[index] > taw_mm[index]:
            findings.append(
                f"a full root zone holds {taw_mm[index]:.1f} mm, less than the"
                f" {most_used_mm[index]:.1f} mm of a day's water use; check soil, roots and wetted"
                " share"
            )
        if limits.shortest_passes_depth[index]:
            findings.append(
                f"the shortest pulse ({limits.shortest_pulse_min[index]} min) wets deeper than one"
                f" pulse should ({limits.depth_limit_min[index]:.0f} min); a shorter fill time or"
                " smaller emitters would help"
            )
        if block.emission_uniformity_pct < 75.0:
            findings.append(
                f"an emission uniformity of {block.emission_uniformity_pct:g} % means clogged or"
                " worn emitters; flush or replace them"
            )
        if findings:
            found.append(BlockHealth(block_id=block.block_id, findings=tuple(findings)))
    return tuple(found)


def _largest(values: Floats) -> Floats:
    """(blocks,) largest known value of each column, 0 if none is known."""
    known = np.where(np.isfinite(values), values, 0.0)
    largest: Floats = known.max(axis=0)
    return largest
