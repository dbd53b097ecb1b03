"""Composition root: settings in, ready-to-use parts out; the only module that names adapters."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from service.attributions import ATTRIBUTIONS
from service.cluster import parse_cluster
from service.database.backup import make_backup
from service.database.copy import copy_sqlite
from service.database.engine import make_engine
from service.database.migrate import (
    check_schema,
    current_revision,
    head_revision,
    known_revisions,
    upgrade,
)
from service.database.session import UnitOfWorkFactory, unit_of_work_factory
from service.database.writing import check_storage, free_bytes
from service.errors import InputInvalid, SettingsInvalid, StorageFailed
from service.farm_files.farm_document import JsonFarmFormat
from service.operations.access.people import checked_address
from service.operations.backups.keep_backups import BackupRule, Keeper
from service.operations.evening.replan_after import Replanning
from service.operations.events.deliver_events import Dispatch
from service.operations.events.manage_subscriptions import EventRules
from service.operations.mail.evening_mail import queue_evening_mails
from service.operations.mail.send_mail import Post
from service.operations.run_here import RunHere
from service.operations.shared_clock import shared_clock
from service.operations.weather.refresh_members import MembersRefresh
from service.operations.weather.refresh_weather import WeatherRefresh
from service.ports import AfterPublish, Clock, ComposeMail, FarmFormat, RefreshWeather, StudyRunner
from service.records.backups import Manifest
from service.records.forecast_members import ENSEMBLE_SOURCE
from service.settings import Settings, read_settings
from service.state_folder import StateFolder
from service.weather_sources.http import HttpPolicy, WeatherHttp
from service.weather_sources.nasa_power import NasaPower
from service.weather_sources.nws_grid import NwsGrid
from service.weather_sources.open_meteo import OpenMeteo
from service.weather_sources.open_meteo_members import OpenMeteoMembers

if TYPE_CHECKING:
    from service.delivery.message import MailIdentity

SLOW_BATCH_DEADLINE_S = 1800.0
"""For services whose quota lets a batch for a region take a while."""


class SystemClock:
    """The machine's clock."""

    def now(self) -> datetime:
        """The present instant, UTC."""
        return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Service:
    """The parts that every entrance works with."""

    settings: Settings
    unit_of_work: UnitOfWorkFactory
    clock: Clock
    check_storage: Callable[[], None] = lambda: None
    """Raises StorageFailed if the database is unavailable, at another schema than this version's,
    cannot be written to, or has no room left."""
    free_bytes: Callable[[], int | None] = lambda: None
    """Room left on the disk that holds the database; None where it is a server's."""
    schema_revision: str = ""
    """The revision of the database that this version works with."""
    close: Callable[[], None] = lambda: None
    """Closes all connections to the database."""
    refreshers: Mapping[str, RefreshWeather] = field(default_factory=dict)
    """Fetches from the weather services, by source."""
    farm_format: FarmFormat = field(default_factory=JsonFarmFormat)
    is_demonstration: bool = False
    """Farm, weather and clock are invented, and every page says so."""

    @property
    def shares_counts(self) -> bool:
        """Whether all processes on the database count requests together; a SQLite file, which has
        one writer, is spared that.
        """
        return not self.settings.database_url.startswith("sqlite")

    @property
    def after_publish(self) -> AfterPublish | None:
        """What else happens in the transaction that publishes plans; nothing if no mail is sent."""
        return queue_evening_mails if self.settings.mail_host else None

    @property
    def replanning(self) -> Replanning:
        """How reports and changes replace plans."""
        return Replanning(self.clock, self.source_order, self.after_publish)

    @property
    def backup_rule(self) -> BackupRule | None:
        """When backups are made on schedule; None: never."""
        settings = self.settings
        if settings.backup_folder is None or not settings.backup_daily_kept:
            return None
        return BackupRule(
            folder=settings.backup_folder.absolute(),
            at_hour=settings.backup_hour_utc,
            daily_kept=settings.backup_daily_kept,
            weekly_kept=settings.backup_weekly_kept,
        )

    @property
    def backup_alarm_after(self) -> timedelta | None:
        """How old the last backup may be; None: none are made on schedule."""
        if self.backup_rule is None:
            return None
        return timedelta(hours=self.settings.backup_alarm_h)

    @property
    def event_rules(self) -> EventRules:
        """What the operator has set about events."""
        secret = self.settings.event_secret.get_secret_value()
        return EventRules(own_secret=secret, networks=self.settings.event_networks)

    @property
    def source_order(self) -> Mapping[str, int]:
        """Rank of each weather source, higher is better."""
        return {name: rank + 1 for rank, name in enumerate(self.settings.source_order)}


def open_service(settings: Settings | None = None, *, clock: Clock | None = None) -> Service:
    """The service on its database; raises StorageFailed if that is not migrated."""
    chosen = settings or read_settings()
    engine = make_engine(chosen.database_url)
    try:
        check_schema(engine)
    except StorageFailed:
        engine.dispose()
        raise
    ticking = clock or SystemClock()
    unit_of_work = unit_of_work_factory(engine, now=ticking.now)
    return Service(
        settings=chosen,
        unit_of_work=unit_of_work,
        clock=ticking,
        check_storage=partial(check_storage, engine),
        free_bytes=partial(free_bytes, engine),
        schema_revision=head_revision(),
        close=engine.dispose,
        refreshers=_refreshers(chosen, unit_of_work),
    )


def _refreshers(settings: Settings, unit_of_work: UnitOfWorkFactory) -> dict[str, RefreshWeather]:
    """The weather services named in the settings, each with how far it looks back and ahead."""
    if not settings.weather_services:
        return {}
    http = WeatherHttp(unit_of_work, contact=settings.weather_contact)
    slow = WeatherHttp(
        unit_of_work,
        contact=settings.weather_contact,
        policy=HttpPolicy(batch_deadline_s=SLOW_BATCH_DEADLINE_S),
    )
    key = settings.open_meteo_key
    made: dict[str, RefreshWeather] = {
        "open-meteo": WeatherRefresh(
            OpenMeteo(
                http,
                base_url=settings.open_meteo_base_url,
                api_key=None if key is None else key.get_secret_value(),
                weights_per_minute=settings.open_meteo_weights_per_minute,
            ),
            unit_of_work,
            days_back=2,
            forecasts=True,
        ),
        "nasa-power": WeatherRefresh(
            NasaPower(slow, base_url=settings.nasa_power_base_url),
            unit_of_work,
            days_back=14,
            forecasts=False,
        ),
        "nws-grid": WeatherRefresh(
            NwsGrid(http, base_url=settings.nws_base_url), unit_of_work, days_back=0, forecasts=True
        ),
        ENSEMBLE_SOURCE: MembersRefresh(
            OpenMeteoMembers(
                slow,
                models=settings.ensemble_models,
                base_url=settings.open_meteo_ensemble_base_url,
                api_key=None if key is None else key.get_secret_value(),
                weights_per_minute=settings.open_meteo_weights_per_minute,
            ),
            unit_of_work,
            hourly_weight=settings.ensemble_hourly_weight,
            daily_weight=settings.ensemble_daily_weight,
        ),
    }
    return {name: made[name] for name in settings.weather_services}


def make_composer(service: Service) -> ComposeMail:
    """The composer of this operator's mails; works without a relay, for previews."""
    # Charts, catalogues and templates are loaded only to write mail, not for every command.
    from service.delivery import message  # noqa: PLC0415 - loads babel and jinja2

    return message.make_composer(mail_identity(service))


def mail_identity(service: Service) -> MailIdentity:
    """The sender of this operator's mails."""
    from service.delivery.message import MailIdentity  # noqa: PLC0415 - loads babel and jinja2

    settings = service.settings
    return MailIdentity(
        sender_address=settings.mail_from or f"plans@{settings.domain}",
        sender_name=settings.mail_from_name,
        domain=settings.domain,
        reply_address=settings.mail_reply_to,
        public_url=settings.public_url.rstrip("/"),
    )


def make_post(
    service: Service, *, owner: str, should_stop: Callable[[], bool] = lambda: False
) -> Post | None:
    """What sends this operator's mails; None if the settings name no relay.

    Raises SettingsInvalid if they name a relay but no sender address.
    """
    settings = service.settings
    if not settings.mail_host:
        return None
    from service.delivery.smtp_relay import RelayAddress, SmtpRelay  # noqa: PLC0415 - loads babel and jinja2

    for name, address in (
        ("RILLWRIGHT_MAIL_FROM", settings.mail_from),
        ("RILLWRIGHT_MAIL_REPLY_TO", settings.mail_reply_to or settings.mail_from),
    ):
        try:
            checked_address(address, where=name)
        except InputInvalid as error:
            raise SettingsInvalid("no mail can be sent", error.faults) from error
    relay = RelayAddress(
        host=settings.mail_host,
        port=settings.mail_port,
        security=settings.mail_security,
        user=settings.mail_user,
        password=settings.mail_password.get_secret_value(),
        sender_address=settings.mail_from,
        own_name=settings.domain,
    )
    return Post(
        owner=owner,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        compose=make_composer(service),
        connect=SmtpRelay(relay),
        domain=settings.domain,
        attributions=ATTRIBUTIONS,
        should_stop=should_stop,
        lease_clock=_lease_clock(service),
    )


def _lease_clock(service: Service) -> Callable[[Clock, UnitOfWorkFactory], Clock]:
    """That of the database server, unless ours is set by hand, as that of the demonstration."""
    is_set = not isinstance(service.clock, SystemClock)
    return (lambda clock, _unit_of_work: clock) if is_set else shared_clock


def make_dispatch(
    service: Service, *, owner: str, should_stop: Callable[[], bool] = lambda: False
) -> Dispatch | None:
    """What sends events to other systems; None if the settings hold no secret to sign with."""
    rules = service.event_rules
    if not rules.own_secret:
        return None
    from service.delivery.webhook import WebhookSender  # noqa: PLC0415 - loads an HTTP client

    settings = service.settings
    return Dispatch(
        owner=owner,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        send=WebhookSender(clock=service.clock, networks=rules.networks),
        own_secret=rules.own_secret,
        base_url=settings.public_url.rstrip("/") or f"https://{settings.domain}",
        should_stop=should_stop,
        lease_clock=_lease_clock(service),
    )


def make_study_runner(settings: Settings) -> StudyRunner:
    """What studies of many years run by; raises SettingsInvalid for a cluster that is none."""
    return parse_cluster(settings.cluster) if settings.cluster else RunHere()


def make_keeper(service: Service, *, owner: str) -> Keeper | None:
    """What keeps backups; None if none are made on schedule."""
    rule, settings = service.backup_rule, service.settings
    if rule is None:
        return None

    def make(to: Path, now: datetime) -> Manifest:
        return make_backup(settings.database_url, to, now=now, tools=settings.postgres_tools)

    return Keeper(owner, service.unit_of_work, service.clock, rule, make)


def bring_up_to_date(settings: Settings, state: StateFolder, *, clock: Clock) -> Path | None:
    """Bring the database of a small installation to this version's schema, after a copy of it.

    Returns the copy; None where there was nothing to change or nothing yet. A database of a later
    version, or one that is not a SQLite file, is left alone; opening it says what is wrong.
    """
    if not settings.database_url.startswith("sqlite:"):
        return None
    found = current_revision(settings.database_url)
    if found is None:
        upgrade(settings.database_url)
        return None
    if found not in known_revisions() or found == head_revision():
        return None
    copy = state.name_copy(found, clock.now().strftime("%Y%m%dT%H%M%SZ"))
    copy_sqlite(settings.database_url, copy)
    upgrade(settings.database_url)
    return copy


def migrate_database(settings: Settings | None = None) -> str | None:
    """Bring the database to this version's schema; returns the revision reached."""
    return upgrade((settings or read_settings()).database_url)
