"""Invented letters, as the operations would fill them in."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from service.agronomy.county_need import Basis
from service.nutrition.season_tasks import group_tasks, season_tasks
from service.nutrition.tables import crops
from service.nutrition.task_days import BlockSeason
from service.nutrition.task_words import TaskKind
from service.records.counties import CountyWeek
from service.records.letters import (
    BlockLine,
    BlockWeek,
    BulletinLetter,
    EveningLetter,
    ExpectedDay,
    MailStamp,
    PulseLine,
    SiteLine,
    WeeklyLetter,
)
from service.records.mail import Person
from service.records.season import SampleReminder
from service.records.weather import Attribution

ZONE = "America/Los_Angeles"
DAY = date(2026, 7, 16)
ISSUED_AT = datetime(2026, 7, 16, 2, 0, tzinfo=UTC)
THANKS = Attribution("sky", "Weather by an invented service", "https://sky.example/", "CC BY 4.0")
STAMP = MailStamp(
    message_id="plan.brook.2026-07-16.v1.7@mail.example.org",
    written_at=ISSUED_AT,
    link_token="token-1",
)


def reader(**changes: Any) -> Person:
    """Somebody who reads English and US units."""
    facts: dict[str, Any] = {"mail_address": "ana@example.org", "name": "Ana Ejemplo"}
    return Person(**{**facts, **changes})


def pulse(start: str, duration_min: int) -> PulseLine:
    """A pulse that starts at a time on the farm's clock."""
    starts_at = datetime.fromisoformat(f"{DAY}T{start}").replace(tzinfo=ZoneInfo(ZONE))
    return PulseLine(starts_at, starts_at + timedelta(minutes=duration_min), duration_min)


def block_line(name: str = "North", *pulses: PulseLine, **changes: Any) -> BlockLine:
    """A block that runs these pulses, or rests."""
    planned_min = sum(each.duration_min for each in pulses)
    facts: dict[str, Any] = {
        "block_id": f"brook.{name.lower()}",
        "name": name,
        "status": "water" if pulses else "rest",
        "version": 1,
        "site_id": "hill",
        "pulses": pulses,
        "planned_min": planned_min,
        "volume_l": 40.0 * planned_min,
        "numbers": {
            "crop_et_mm": 5.08,
            "planned_depletion_mm": 12.7 if pulses else 2.54,
            "trigger_mm": 10.16,
        },
        "flags": 0,
        "cause": 0,
        "deferred_mm": 0.0,
        "shortfall_mm": 0.0,
        "rain_credit_mm": 0.0,
        "outlook": tuple(
            ExpectedDay(DAY + timedelta(days=ahead), planned_min if ahead == 0 else 10.0 * ahead)
            for ahead in range(7)
        ),
        "dry_day": None,
    }
    return BlockLine(**{**facts, **changes})


def evening(*blocks: BlockLine, **changes: Any) -> EveningLetter:
    """Tomorrow's plan: two blocks that run and one that rests, if none are given."""
    facts: dict[str, Any] = {
        "farm_id": "brook",
        "farm_name": "Brook farm",
        "zone": ZONE,
        "day": DAY,
        "issued_at": ISSUED_AT,
        "plan_version": 1,
        "blocks": blocks
        or (
            block_line("North", pulse("04:00", 69)),
            block_line("South", pulse("05:10", 40), pulse("07:00", 35)),
            block_line("West"),
        ),
        "sites": (
            SiteLine(
                site_id="hill",
                source="sky",
                kind="forecast",
                issued_at=ISSUED_AT - timedelta(hours=3),
                observed_until=DAY - timedelta(days=2),
                rain_until=DAY - timedelta(days=1),
                rain_before_mm=2.54,
                rain_today_mm=0.0,
                rain_tomorrow_mm=7.62,
                rain_probability_fraction=0.6,
            ),
        ),
        "attributions": (THANKS,),
    }
    return EveningLetter(**{**facts, **changes})


def block_week(name: str = "North", **changes: Any) -> BlockWeek:
    """An ordinary week of a block."""
    facts: dict[str, Any] = {
        "block_id": f"brook.{name.lower()}",
        "name": name,
        "applied_mm": 25.4,
        "applied_l": 100_000.0,
        "area_m2": 100_000.0 / 25.4,
        "needed_mm": 30.48,
        "rain_mm": 12.7,
        "rain_kept_mm": 10.16,
        "depletion_end_mm": 5.08,
        "raw_mm": 15.0,
        "short_days_count": 0,
        "assumed_days_count": 0,
        "unobserved_days_count": 0,
        "flow_verdict": "",
        "flow_change_fraction": None,
    }
    return BlockWeek(**{**facts, **changes})


def sample_reminders(*names: str, on: date = date(2026, 7, 13)) -> tuple[SampleReminder, ...]:
    """What is to be sampled in blocks of every crop, each block with one of these names."""
    keys = sorted({name for crop in crops().values() for name in crop.block_crops})
    groups = group_tasks(
        {key: season_tasks(BlockSeason(crop_key=key, latitude_deg=36.0), on) for key in keys}
    )
    kinds = (TaskKind.LEAF_SAMPLE, TaskKind.SOIL_SAMPLE)
    return tuple(
        SampleReminder(group, names or ("North",)) for group in groups if group.task.kind in kinds
    )


def weekly(*blocks: BlockWeek, reminders: tuple[SampleReminder, ...] = ()) -> WeeklyLetter:
    """Last week of a farm."""
    return WeeklyLetter(
        farm_id="brook",
        farm_name="Brook farm",
        zone=ZONE,
        first_day=date(2026, 7, 6),
        last_day=date(2026, 7, 12),
        blocks=blocks or (block_week(),),
        attributions=(THANKS,),
        reminders=reminders,
    )


def bulletin() -> BulletinLetter:
    """Two counties, of which one has no weather."""
    unknown = float("nan")
    return BulletinLetter(
        reference_name="North",
        crop_key="blueberry",
        first_day=date(2026, 7, 6),
        last_day=date(2026, 7, 12),
        counties=(
            CountyWeek(
                county_code="XX-1",
                name="Alder",
                rank=1,
                reference_et_mm=40.64,
                percent_of_normal=107.4,
                rain_mm=5.08,
                net_need_mm=25.4,
                gross_need_mm=27.94,
                running_h=13.25,
                forecast_days_count=1,
                stand_in_days_count=2,
                normal_need_mm=22.86,
                net_need_band_mm=None,
                site_id="alder",
                crop_et_mm=38.6,
                measured_days_count=4,
                unmeasured_days_count=3,
                basis=Basis.STAND_IN,
                observed_until=date(2026, 7, 9),
                rain_until=None,
            ),
            CountyWeek(
                county_code="XX-2",
                name="Brack",
                rank=0,
                reference_et_mm=unknown,
                percent_of_normal=unknown,
                rain_mm=unknown,
                net_need_mm=unknown,
                gross_need_mm=unknown,
                running_h=unknown,
                forecast_days_count=0,
                stand_in_days_count=0,
                normal_need_mm=unknown,
                net_need_band_mm=None,
                site_id="brack",
                crop_et_mm=unknown,
                measured_days_count=0,
                unmeasured_days_count=7,
                basis=Basis.UNKNOWN,
                observed_until=None,
                rain_until=None,
            ),
        ),
        attributions=(),
    )
