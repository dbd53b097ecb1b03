"""Programs for controllers: the plans in force as openings of their channels, ready to send.

A program covers the local day that is under way, whether or not it was planned, and the days
planned after it, so that it can replace the previous one at any time. It is rendered once, in the
transaction that publishes the plans; a poll only adds the server's time. There are two forms of the
same content: JSON, and CSV for devices that read line by line. ``deploy/controller-contract.md``
explains every field.
"""

from __future__ import annotations

import hashlib
import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction

import numpy as np
import orjson

from service.agronomy.civil_day import (
    ONE_DAY,
    day_length_min,
    elapsed_min,
    midnight_utc,
    wall_text,
    wall_time,
)
from service.agronomy.records import Ints, NoWaterPeriod, WeeklyNoWater
from service.agronomy.weekly_hours import closed_hours
from service.database.session import UnitOfWork
from service.operations.reading.read_farms import farms_by_day, local_day
from service.pulses import Pulse
from service.records.controllers import (
    ChannelDefinition,
    ChannelPlans,
    ControllerDefinition,
    ProgramRow,
)
from service.records.farms import BlockTable, FarmDefinition
from service.unit_sizes import MINUTES_PER_DAY

TOPIC = "programs"
FORMAT = 1
FALLBACK_MAX_DAYS = 7
"""How long a controller may run on its fallback before it stops and raises an alarm; our choice."""
DAILY_MARGIN = Fraction(5, 4)
"""What a channel may run on a day, over what it is asked to, where the farm set no maximum: room
for a clock that is set right and a valve that closes late [CHOICE]."""
DIGEST_LENGTH = 24


@dataclass(frozen=True, slots=True)
class _Blocks:
    """What the program of a channel needs to know about its block."""

    key_of: dict[str, int]
    daily_maximum_min: dict[str, int]
    no_water: dict[str, tuple[NoWaterPeriod, ...]]
    weekly: Mapping[int, tuple[WeeklyNoWater, ...]]
    """Of each supply, by its key."""
    weekly_of: dict[str, tuple[WeeklyNoWater, ...]] = field(default_factory=dict)

    def add(self, table: BlockTable, asked: Mapping[int, tuple[NoWaterPeriod, ...]]) -> None:
        """Add the blocks of a table, with the pauses requested for each."""
        names, keys = table.block_ids, table.keys.tolist()
        daily_maximum_min = np.floor(table.numbers["daily_maximum_min"]).astype(np.int64)
        self.key_of.update(zip(names, keys, strict=True))
        self.daily_maximum_min.update(zip(names, daily_maximum_min.tolist(), strict=True))
        for name, key, own in zip(names, keys, table.no_water, strict=True):
            self.no_water[name] = own + asked.get(key, ())
        for name, supply_key in zip(names, table.supply_keys.tolist(), strict=True):
            self.weekly_of[name] = self.weekly.get(supply_key, ())


Opening = tuple[int, str, int]


def publish_programs(
    unit: UnitOfWork, farm_keys: Ints, *, now: datetime, table: BlockTable | None = None
) -> int:
    """Re-render the programs of these farms' controllers; returns how many changed.

    ``table`` may pass the blocks of these farms, with their pauses, as of the last planned day, if
    the caller has already read them. A program with the same content as before is left unchanged.
    """
    keys = unit.controllers.list_keys_in_use(farm_keys)
    if not keys.size:
        return 0
    farms = unit.blocks.list_farms()
    zones = {farm.farm_id: farm.zone for farm in farms}
    supplies = unit.blocks.read_supply_table(farm_keys)
    weekly = dict(zip(supplies.keys.tolist(), supplies.weekly_no_water, strict=True))
    blocks = _Blocks(key_of={}, daily_maximum_min={}, no_water={}, weekly=weekly)
    if table is not None:
        blocks.add(table, {})
    else:
        for day, keys_of_day in _tomorrows(unit, farms, farm_keys, now).items():
            read = unit.blocks.read_block_table(day, farm_keys=keys_of_day)
            blocks.add(read, unit.pauses.read_periods(read.keys))
    definitions = unit.controllers.read_definitions(keys)
    bound = {channel.block_id for _, each in definitions for channel in each.channels}
    block_keys = np.array(
        sorted(blocks.key_of[name] for name in bound if name in blocks.key_of), dtype=np.int64
    )
    days_before = ONE_DAY  # the earliest local day on Earth is at most one before the UTC day
    plans = unit.controllers.read_plans(block_keys, first_day=(now - days_before).date())
    before = {row.controller_key: row for row in unit.controllers.read_programs(keys)}
    rows = _rows(definitions, before, _by_block(plans), blocks=blocks, zones=zones, now=now)
    if rows:
        unit.controllers.save_programs(rows, mark=unit.marks.bump(TOPIC))
    return len(rows)


def _tomorrows(
    unit: UnitOfWork, farms: Sequence[FarmDefinition], farm_keys: Ints, now: datetime
) -> dict[date, Ints]:
    """Keys of these farms, grouped by the date of tomorrow at each."""
    key_of = unit.blocks.farm_keys()
    wanted = set(farm_keys.tolist())
    return {
        day + ONE_DAY: np.array(keys, dtype=np.int64)
        for day, members in farms_by_day(farms, now).items()
        if (keys := [key for farm in members if (key := key_of[farm.farm_id]) in wanted])
    }


def render_program(
    definition: ControllerDefinition,
    channels: Sequence[tuple[int, str, int, Sequence[Opening]]],
    *,
    version: int,
    issued_epoch_s: int,
    valid_epoch_s: tuple[int, int],
    zone: str,
) -> tuple[str, str]:
    """A program as it is sent, in JSON and in CSV, without the server's time.

    ``channels`` are (channel, mode, daily maximum in minutes, openings); an opening is (start in
    seconds since 1970, start on the local clock as YYYY-MM-DDTHH:MM, minutes). Ids are of letters,
    digits, points and hyphens, so nothing needs to be escaped.
    """
    name = definition.controller_id
    valid_from, valid_until = valid_epoch_s
    fallback = [
        (each.channel, wall_text(run.start_wall_min), run.duration_min)
        for each in definition.channels
        for run in each.fallback
    ]
    channel_texts = ",".join(
        f'{{"channel":{channel},"mode":"{mode}","daily_maximum_min":{maximum},"openings":['
        + ",".join(f'[{start},"{local[8:]}",{minutes}]' for start, local, minutes in openings)
        + "]}"
        for channel, mode, maximum, openings in channels
    )
    fallback_texts = ",".join(
        f'[{channel},"{start}",{minutes}]' for channel, start, minutes in fallback
    )
    program = (
        f'{{"format":{FORMAT},"controller_id":"{name}","program_id":"{name}/{version}",'
        f'"version":{version},"issued_epoch_s":{issued_epoch_s},"valid_from_epoch_s":{valid_from},'
        f'"valid_until_epoch_s":{valid_until},"zone":"{zone}","channels":[{channel_texts}],'
        f'"fallback":{{"policy":"{definition.policy}","days":{FALLBACK_MAX_DAYS},'
        f'"openings":[{fallback_texts}]}}}}'
    )
    lines = [f"program,{name}/{version},{version},{issued_epoch_s},{valid_from},{valid_until}"]
    lines += [f"channel,{channel},{mode},{maximum}" for channel, mode, maximum, _ in channels]
    lines += [
        f"open,{channel},{start},{local},{minutes}"
        for channel, _, _, openings in channels
        for start, local, minutes in openings
    ]
    lines += [f"fallback,{definition.policy},{FALLBACK_MAX_DAYS}"]
    lines += [f"base,{channel},{start},{minutes}" for channel, start, minutes in fallback]
    text = "\n".join(lines) + "\n"
    return (
        f'"crc32":"{_crc32(program)}","program":{program}}}',
        f"{_crc32(text)}\n{text}",
    )


def json_body(json_text: str | bytes, server_epoch_s: int) -> bytes:
    """A stored program as JSON, with the server's time put in."""
    tail = json_text if isinstance(json_text, bytes) else json_text.encode("ascii")
    return b'{"server_time_epoch_s":%d,%s' % (server_epoch_s, tail)


def csv_body(csv_text: str | bytes, server_epoch_s: int) -> bytes:
    """A stored program as CSV, with the server's time put in."""
    tail = csv_text if isinstance(csv_text, bytes) else csv_text.encode("ascii")
    return b"rillwright,%d,%d,%s" % (FORMAT, server_epoch_s, tail)


def _crc32(text: str) -> str:
    return f"{zlib.crc32(text.encode('ascii')):08x}"


def _by_block(plans: ChannelPlans) -> dict[int, list[tuple[date, str, str]]]:
    """Day, status and pulses of each block's plans, by day."""
    found: dict[int, list[tuple[date, str, str]]] = {}
    for key, day, status, pulses in zip(
        plans.block_keys.tolist(), plans.days.tolist(), plans.status, plans.pulses, strict=True
    ):
        found.setdefault(key, []).append((day, status, pulses))
    return found


def _rows(
    definitions: Sequence[tuple[int, ControllerDefinition]],
    before: Mapping[int, ProgramRow],
    plans: Mapping[int, Sequence[tuple[date, str, str]]],
    *,
    blocks: _Blocks,
    zones: Mapping[str, str],
    now: datetime,
) -> list[ProgramRow]:
    """The programs that differ from the stored ones."""
    issued_epoch_s = int(now.timestamp())
    todays = {zone: local_day(now, zone) for zone in set(zones.values())}
    days_of = _Days()
    rows = []
    for key, definition in definitions:
        zone = zones[definition.farm_id]
        today = todays[zone]
        plans_of = {
            channel.channel: [
                plan for plan in plans.get(blocks.key_of.get(channel.block_id, -1), ())
                if plan[0] >= today
            ]
            for channel in definition.channels
        }  # fmt: skip
        last_day = max([today, *(plan[0] for each in plans_of.values() for plan in each)])
        channels = [
            _channel(
                channel,
                plans_of[channel.channel],
                definition.policy,
                blocks=blocks,
                zone=zone,
                days_of=days_of,
                ended_by_epoch_s=issued_epoch_s,
            )
            for channel in definition.channels
        ]
        valid_epoch_s = (
            days_of.midnight_epoch_s(today, zone),
            days_of.midnight_epoch_s(last_day + ONE_DAY, zone),
        )
        content = orjson.dumps(
            [
                channels,
                valid_epoch_s,
                zone,
                definition.policy,
                [
                    [each.channel, run.start_wall_min, run.duration_min]
                    for each in definition.channels
                    for run in each.fallback
                ],
            ]
        )
        digest = hashlib.sha256(content).hexdigest()[:DIGEST_LENGTH]
        standing = before.get(key)
        if standing is not None and standing.digest == digest:
            continue
        version = 1 if standing is None else standing.version + 1
        json_text, csv_text = render_program(
            definition,
            channels,
            version=version,
            issued_epoch_s=issued_epoch_s,
            valid_epoch_s=valid_epoch_s,
            zone=zone,
        )
        rows.append(
            ProgramRow(
                controller_key=key,
                version=version,
                issued_at=now,
                digest=digest,
                json_text=json_text,
                csv_text=csv_text,
            )
        )
    return rows


def _channel(
    channel: ChannelDefinition,
    plans: Sequence[tuple[date, str, str]],
    policy: str,
    *,
    blocks: _Blocks,
    zone: str,
    days_of: _Days,
    ended_by_epoch_s: int,
) -> tuple[int, str, int, list[Opening]]:
    """Mode, daily maximum and openings of a channel; openings that have ended are left out.

    A day for which nothing could be planned gets the fallback that the farm agreed to, outside the
    no-water periods. A block that is not in force, or has no plan for a day, gets no water.
    """
    openings = []
    minutes_of_days = [sum(run.duration_min for run in channel.fallback)]
    for day, status, text in plans:
        if status == "no-weather":
            pulses = _agreed(channel, day, zone, blocks) if policy == "fallback" else []
        else:
            pulses = orjson.loads(text)
        minutes_of_days.append(sum(duration_min for _, duration_min in pulses))
        openings += [
            opening
            for opening in (days_of.opening(day, pulse, zone) for pulse in pulses)
            if opening[0] + 60 * opening[2] > ended_by_epoch_s
        ]
    return (
        channel.channel,
        "run" if openings else "hold",
        most_min_of_day(blocks.daily_maximum_min.get(channel.block_id, 0), minutes_of_days),
        openings,
    )


def most_min_of_day(daily_maximum_min: int, minutes_of_days: Sequence[int]) -> int:
    """The minutes that a channel may be open on one local day.

    ``minutes_of_days`` are those of each planned day, with its openings that are over, and of a day
    of the fallback. What the farm set holds as it is. The whole day, its default, would let a
    controller that counts wrongly water around the clock: the longest day asked for and a quarter
    is the most then, and nothing where nothing is asked for.
    """
    if daily_maximum_min < MINUTES_PER_DAY:
        return daily_maximum_min
    return min(math.ceil(DAILY_MARGIN * max(minutes_of_days)), MINUTES_PER_DAY)


def _agreed(channel: ChannelDefinition, day: date, zone: str, blocks: _Blocks) -> list[Pulse]:
    """The fallback of a channel on a day as pulses, without those in times without water."""
    midnight = datetime.combine(day, time(0))
    hours = closed_hours(blocks.weekly_of.get(channel.block_id, ()), day, zone)
    found = []
    for run in channel.fallback:
        begins = midnight + timedelta(minutes=run.start_wall_min)
        ends = begins + timedelta(minutes=run.duration_min)
        if any(
            period.starts_local < ends and begins < period.ends_local
            for period in blocks.no_water.get(channel.block_id, ())
        ):
            continue
        pulse = Pulse(elapsed_min(day, begins.time(), zone), run.duration_min)
        if any(pulse.start_min < each.end_min and each.start_min < pulse.end_min for each in hours):
            continue
        found.append(pulse)
    return found


class _Days:
    """Instants of local days, each looked up once."""

    def __init__(self) -> None:
        self._midnights: dict[tuple[date, str], tuple[int, bool]] = {}

    def midnight_epoch_s(self, day: date, zone: str) -> int:
        """When a local day begins, in seconds since 1970."""
        return self._facts(day, zone)[0]

    def opening(self, day: date, pulse: Sequence[int], zone: str) -> Opening:
        """A pulse as an opening."""
        start_min, duration_min = pulse
        midnight_epoch_s, is_ordinary = self._facts(day, zone)
        if is_ordinary:
            local = f"{day.isoformat()}T{wall_text(start_min)}"
        else:
            local = wall_time(day, start_min, zone).strftime("%Y-%m-%dT%H:%M")
        return midnight_epoch_s + 60 * start_min, local, duration_min

    def _facts(self, day: date, zone: str) -> tuple[int, bool]:
        place = (day, zone)
        if place not in self._midnights:
            self._midnights[place] = (
                int(midnight_utc(day, zone).astimezone(UTC).timestamp()),
                day_length_min(day, zone) == MINUTES_PER_DAY,
            )
        return self._midnights[place]
