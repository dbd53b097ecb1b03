"""The content of a mail before it is worded: the same facts for every language and unit system.

The operations fill these in from plans and ledgers; the delivery room makes messages of them. Each
letter is for one farm or one adviser, and is independent of its reader.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import NoWaterPeriod
from service.records.counties import CountyWeek
from service.records.feedback import MeteredDay
from service.records.season import SampleReminder
from service.records.timers import TimerProgram
from service.records.weather import Attribution


@dataclass(frozen=True, slots=True)
class PulseLine:
    """One pulse of a block."""

    starts_at: datetime
    """Aware."""
    ends_at: datetime
    duration_min: int


@dataclass(frozen=True, slots=True)
class ExpectedDay:
    """Expected need of a block on a coming day."""

    day: date
    expected_min: float | None
    """None: not known."""
    band_min: tuple[float, float, float] | None = None
    """Minutes that one course of the weather in ten, half and nine in ten do not pass; None: not
    known."""


@dataclass(frozen=True, slots=True)
class InjectionLine:
    """Fertiliser to inject into a block on the day of the letter."""

    products: tuple[tuple[str, float], ...]
    """Name, and mass in kg."""
    spans: tuple[tuple[datetime, datetime], ...]
    """When the injector runs; aware. Empty: it does not fit into the pulses."""
    injector_l_per_h: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TimerLine:
    """The timer of a block on the day of the letter."""

    is_set: bool
    """Whether anybody has said what it runs."""
    to_set: TimerProgram | None
    """What to set on it; None if nothing is new."""
    program_id: str
    """Of that program; empty without one."""
    is_early: bool
    """The change does not wait for the grower's setting day."""
    next_setting: date
    """The setting day after this day."""
    excess_mm: float | None
    """Depletion beyond readily available water under the program to set, in weather as dry as the
    timer's safety asks for; None without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HindsightLine:
    """A day that is over, with the rain that fell on it."""

    day: date
    rain_mm: float
    """All rain that fell."""
    planned_min: int
    needed_min: float
    """Minutes that the same rule asks for with that rain."""
    not_needed_min: float
    """Of the minutes that were planned and ran, those that the rain made needless."""
    lacking_min: float
    """Minutes by which the need was larger than planned for, as less rain came than counted on."""
    is_news: bool
    """Whether it is worth a word beside the plan of another day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockLine:
    """The plan of one block for the day of the letter."""

    block_id: str
    name: str
    status: str
    """``water``, ``rest`` or ``no-weather``."""
    version: int
    site_id: str
    pulses: tuple[PulseLine, ...]
    planned_min: int
    volume_l: float
    numbers: Mapping[str, float | None]
    """Values in the reason text."""
    flags: int
    cause: int
    deferred_mm: float
    shortfall_mm: float
    rain_credit_mm: float
    """Forecast rain that the plan relies on."""
    outlook: tuple[ExpectedDay, ...]
    dry_day: date | None
    """Day on which the block, unwatered, runs short; None: not within the outlook."""
    injection: InjectionLine | None = None
    """None: nothing is ordered."""
    taken_full_day: date | None = None
    """Day on which the root zone was taken as full, for want of an answer."""
    timer: TimerLine | None = None
    """None: the block has no timer."""
    metered: MeteredDay | None = None
    """What the meter counted on the day before; None: nothing."""
    hindsight: HindsightLine | None = None
    """What the newest plan of a day that is over would have been with the rain that fell."""
    pause: NoWaterPeriod | None = None
    """The no-water period that holds on the day and ends last; None: there is none."""

    @property
    def is_dormant(self) -> bool:
        """The day is outside the block's watering season, and nothing runs."""
        return self.status == "rest" and self.cause == ShortfallCause.DORMANT


@dataclass(frozen=True, slots=True, kw_only=True)
class SkyDay:
    """The weather of one day, as far as it is known."""

    day: date
    tmin_c: float | None
    tmax_c: float | None
    wind_m_s: float | None
    """At 2 m."""
    rain_mm: float | None
    rain_probability_fraction: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteLine:
    """The weather behind the plans of one site."""

    site_id: str
    source: str | None
    """None: there is no forecast for the day."""
    kind: str
    issued_at: datetime | None
    observed_until: date | None
    """Last day settled on observed weather."""
    rain_until: date | None
    """The last of the two days before the plan's whose rain was measured; None: of neither."""
    rain_before_mm: float | None
    """Rain of the day before the evening; None: not known."""
    rain_today_mm: float | None
    rain_tomorrow_mm: float | None
    """Forecast rain of the plan's day."""
    rain_probability_fraction: float | None
    sky: tuple[SkyDay, ...] = ()
    """The plan's day and those after it."""
    rain_band_mm: tuple[float, float, float] | None = None
    """Rain of the plan's day that one course of the weather in ten, half and nine in ten do not
    pass; None: the forecast has no spread."""
    rain_counts_fraction: float | None = None
    """Chance of rain that counts for the root zone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighingNotice:
    """A block that will weigh the forecast, or does so from the day of the letter on."""

    block_name: str
    from_day: date
    """First day that is planned so."""
    is_on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningLetter:
    """Tomorrow's plan of a farm."""

    farm_id: str
    farm_name: str
    zone: str
    day: date
    issued_at: datetime
    plan_version: int
    """1 for the first plan of the day; higher: it replaces one that was mailed."""
    blocks: tuple[BlockLine, ...]
    """By start of their first pulse; resting blocks follow, by name."""
    sites: tuple[SiteLine, ...]
    attributions: tuple[Attribution, ...]
    notices: tuple[WeighingNotice, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockWeek:
    """The week of one block, from its ledger."""

    block_id: str
    name: str
    applied_mm: float
    """Gross irrigation."""
    applied_l: float
    area_m2: float
    """Ground over which the depths are counted."""
    needed_mm: float
    """Crop water use of the week, net."""
    rain_mm: float
    """Rain that fell."""
    rain_kept_mm: float
    """The part that entered the root zone and stayed."""
    depletion_end_mm: float | None
    """None: the block has no ledger in that week."""
    raw_mm: float | None
    short_days_count: int
    """Days that ended beyond the readily available water."""
    assumed_days_count: int
    """Days whose irrigation is assumed from the plan, because no run was reported."""
    unobserved_days_count: int
    flow_verdict: str
    """Flow-check verdict of the season's metered runs; empty without a meter."""
    flow_change_fraction: float | None
    rate_ratio: float | None = None
    """Metered rate over that of the plans, where it is offered for coming ones; None: it is not."""
    rate_run_count: int = 0
    """Runs that it rests on."""
    timer: TimerLine | None = None
    """The timer on the day after the week; None: the block has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeeklyLetter:
    """Last week of a farm."""

    farm_id: str
    farm_name: str
    zone: str
    first_day: date
    last_day: date
    blocks: tuple[BlockWeek, ...]
    attributions: tuple[Attribution, ...]
    reminders: tuple[SampleReminder, ...] = ()
    """Samples whose window is open, or opens within two weeks."""


@dataclass(frozen=True, slots=True)
class ForecastNote:
    """How far off the forecast of the next day was in the last half year, over some counties."""

    county_count: int
    """Counties with enough pairs of forecast and observation."""
    rain_mae_mm: float
    et0_mae_mm: float
    """Means of the counties; NaN where reference ET was not observed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BulletinLetter:
    """Counties compared, for an adviser."""

    reference_name: str
    crop_key: str
    first_day: date
    last_day: date
    counties: tuple[CountyWeek, ...]
    """By rank."""
    attributions: tuple[Attribution, ...]
    forecast: ForecastNote | None = None
    """How good the forecast was; None: too few of its days have been observed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignInLetter:
    """A link that opens the pages once."""

    lasts: timedelta


Letter = EveningLetter | WeeklyLetter | BulletinLetter
AnyLetter = Letter | SignInLetter
"""Mails on a list, and the one-off sign-in mail."""
SIGN_IN_LINK: Final = "/sign-in/mail"
"""Path of the pages to which the token of a sign-in mail is appended."""
TIMER_LINK: Final = "/t"
"""Path to which a mail's token for its timers and a program are appended."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MailStamp:
    """The identity of one message."""

    message_id: str
    """Without the angle brackets."""
    written_at: datetime
    link_token: str
    """Token of the link in the mail: unsubscribes from a list, or signs in."""
    timer_token: str = ""
    """Token of the links by which its reader says that a timer was set; empty: none."""
