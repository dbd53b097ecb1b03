"""What the operations need from the outside, as Protocols; adapters fill them in.

Methods that take or return tables are column-wise, because a run asks for a whole region at once.
Stores never commit: the unit of work does, once, when its ``with`` block ends cleanly.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from types import TracebackType
from typing import Protocol, Self

from service.agronomy.records import Days, Ints
from service.letters import AnyLetter, MailStamp
from service.records import (
    ApiKey,
    AppliedWater,
    Attribution,
    BalanceState,
    BlockDefinition,
    BlockLabel,
    BlockTable,
    BreakerState,
    CatchTest,
    ChannelPlans,
    ControllerDefinition,
    CountyDefinition,
    DepletionReadings,
    FarmBundle,
    FarmDefinition,
    FertigationOrder,
    FlowFinding,
    GaugeReading,
    JobRun,
    KnownPerson,
    LedgerRows,
    LoadOutcome,
    MailOrder,
    MailRow,
    MeteredRuns,
    NewVersions,
    NoWaterPeriod,
    Pause,
    Person,
    PlanMark,
    PlanRows,
    PlansInForce,
    PlanText,
    PlanVersion,
    ProgramRow,
    PublishedPlan,
    QueuedMail,
    RunRows,
    SiteDefinition,
    SiteFreshness,
    SiteTable,
    SoilReading,
    SourceAnswer,
    SourceProblem,
    StationIntervals,
    StationSetup,
    StoredAnswer,
    StoredController,
    StoredPayload,
    StoredProgram,
    SupplyTable,
    WaterSample,
    WeatherRows,
)
from service.waterworks.fertiliser import Product


class Clock(Protocol):
    """Tells the time; the only source of "now"."""

    def now(self) -> datetime:
        """The present instant, aware, UTC."""
        ...


class BlockStore(Protocol):
    """Farms, sites, supplies, blocks and counties, with the history of their changes."""

    def save_bundle(
        self, bundle: FarmBundle, *, effective_day: date, recorded_at: datetime
    ) -> LoadOutcome:
        """Store what differs; a changed block gets a new version valid from ``effective_day``.

        Blocks of the farm that the bundle no longer holds are retired. The same bundle again
        changes nothing.
        """
        ...

    def get_bundle(self, farm_id: str, *, day: date) -> FarmBundle:
        """The farm as it stands on ``day``; raises NotFound."""
        ...

    def list_farms(self) -> list[FarmDefinition]:
        """All farms, by id."""
        ...

    def farm_keys(self, farm_ids: Sequence[str] | None = None) -> dict[str, int]:
        """Integer key of each farm; raises NotFound for an unknown id."""
        ...

    def list_blocks(self, *, farm_id: str | None, day: date) -> list[BlockDefinition]:
        """Blocks in force on ``day``, by id."""
        ...

    def get_block(self, block_id: str, *, day: date) -> BlockDefinition:
        """One block as it stands on ``day``; the part after the dot will do where it is unique."""
        ...

    def get_block_key(self, block_id: str) -> int:
        """Integer key of a block, same names as :meth:`get_block`; raises NotFound."""
        ...

    def read_block_table(self, day: date, *, farm_keys: Ints) -> BlockTable:
        """All blocks of these farms in force on ``day``, by key."""
        ...

    def read_labels(self, block_keys: Ints, *, day: date) -> dict[int, BlockLabel]:
        """What these blocks are called on a day, by key."""
        ...

    def count_blocks(self, farm_keys: Ints, *, day: date) -> dict[int, int]:
        """Number of blocks in force on ``day`` per farm key; 0 where there are none."""
        ...

    def list_version_days(self, farm_keys: Ints, *, first_day: date, last_day: date) -> list[date]:
        """Days inside the span on which a block of these farms changes version."""
        ...

    def read_site_table(self, site_keys: Ints | None = None) -> SiteTable:
        """Sites by key; all of them when no keys are given."""
        ...

    def get_site_key(self, site_id: str) -> int:
        """Integer key of a site; raises NotFound."""
        ...

    def list_site_keys(self, farm_keys: Ints) -> Ints:
        """Keys of the sites that blocks of these farms draw on or once drew on, in rising order."""
        ...

    def find_users(self, site_keys: Ints) -> dict[int, tuple[str, ...]]:
        """Ids of the farms that name each site, or whose blocks draw on it or once did.

        Sites of no farm are missing.
        """
        ...

    def read_supply_table(self, farm_keys: Ints) -> SupplyTable:
        """Supplies of these farms by key."""
        ...

    def list_counties(self) -> list[CountyDefinition]:
        """All counties, by code."""
        ...


class WeatherArchive(Protocol):
    """Weather by (site, day, source, kind)."""

    def save_rows(self, rows: WeatherRows, *, fetched_at: datetime) -> LoadOutcome:
        """Upsert; rows equal to what is stored count as unchanged."""
        ...

    def read_rows(self, site_keys: Ints, *, first_day: date, last_day: date) -> WeatherRows:
        """Every row of these sites in the span, by site, day, source and kind."""
        ...

    def find_span(self, site_key: int, *, kind: str | None = None) -> tuple[date, date] | None:
        """First and last day with a row, or None."""
        ...

    def list_last_days(self, site_keys: Ints, *, kind: str) -> dict[int, date]:
        """Last day with a row of the kind, by site key; sites without one are missing."""
        ...

    def list_freshness(self, site_keys: Ints, *, first_day: date) -> list[SiteFreshness]:
        """How far the weather of these sites reaches, in the order of the keys.

        Rows of days before ``first_day`` are not looked at.
        """
        ...


class LedgerStore(Protocol):
    """The balance by (block, day), and where each block's ledger is settled."""

    def read_states(self, block_keys: Ints) -> BalanceState:
        """Where these blocks' ledgers are settled, in the order of the keys."""
        ...

    def save_states(self, block_keys: Ints, state: BalanceState) -> None:
        """Replace where these blocks' ledgers are settled."""
        ...

    def save_rows(self, rows: LedgerRows) -> None:
        """Upsert by (block, day)."""
        ...

    def read_rows(self, block_key: int, *, first_day: date, last_day: date) -> LedgerRows:
        """Ledger days of one block in the span, by day."""
        ...

    def rewind(self, *, site_key: int, day: date) -> int:
        """Unsettle the ledgers of a site's blocks from ``day`` on; returns how many moved back.

        The state becomes that of the last ledger day before ``day`` (nothing settled where there
        is none).
        """
        ...

    def rewind_block(self, *, block_key: int, day: date) -> None:
        """As :meth:`rewind`, for one block."""
        ...


class PlanStore(Protocol):
    """Plans as immutable versions, and the runs that growers report."""

    def publish(self, rows: PlanRows, *, issued_at: datetime) -> NewVersions:
        """Store a new version of each plan whose digest differs from the one in force.

        The version in force before it is marked superseded. A ``no-weather`` plan never
        supersedes one that has minutes.
        """
        ...

    def save_texts(
        self, block_keys: Ints, texts: Sequence[bytes], *, day: date, drop_before: date
    ) -> None:
        """Store these blocks' plans of a day as they are read, and drop those of older days."""
        ...

    def find_text(self, block_id: str, *, day: date | None) -> PlanText | None:
        """The plan in force as it is read, of the latest day planned if None; None: not stored."""
        ...

    def forget_texts(self, farm_id: str) -> None:
        """Drop what is stored of a farm's plans as they are read."""
        ...

    def save_basis(
        self, site_keys: Ints, documents: Sequence[bytes], *, day: date, issued_at: datetime
    ) -> Ints:
        """Store each site's weather reasoning for a plan day; same document, same key."""
        ...

    def read_in_force(self, block_keys: Ints, *, day: date) -> PlansInForce:
        """Minutes and pulses of the plans in force for a day."""
        ...

    def find_plan(
        self, block_id: str, *, day: date, version: int | None = None
    ) -> PublishedPlan | None:
        """The version in force, or the one named."""
        ...

    def find_latest_day(self, block_id: str | None = None) -> date | None:
        """Last day any plan (of that block) is for."""
        ...

    def list_plans(self, *, day: date, farm_id: str | None = None) -> list[PublishedPlan]:
        """Plans in force for a day, by block id."""
        ...

    def read_applied(self, block_keys: Ints, days: Days) -> AppliedWater:
        """Irrigation by day and block: reported runs, else the plan in force for that day.

        A reported run counts as early when its stored ``is_early`` says that it started before
        sunrise.
        """
        ...

    def record_runs(self, rows: RunRows, *, recorded_at: datetime) -> LoadOutcome:
        """Store reported runs; the same (block, start) again with the same minutes is unchanged."""
        ...

    def read_metered(self, block_key: int, *, first_day: date) -> MeteredRuns:
        """Runs of a block from a day on that came with a metered volume, by time."""
        ...

    def record_reading(self, reading: GaugeReading, *, recorded_at: datetime) -> LoadOutcome:
        """Store a rain-gauge reading; a changed one becomes a new version of it."""
        ...

    def list_readings(
        self, site_key: int, *, first_day: date, last_day: date
    ) -> list[GaugeReading]:
        """Readings in force whose cover ends in the span, by time."""
        ...


class StationStore(Protocol):
    """How a grower's station is set up, and what its files said, interval by interval."""

    def find_setup(self, site_key: int) -> StationSetup | None:
        """What is remembered of a site's station."""
        ...

    def save_setup(self, site_key: int, setup: StationSetup) -> None:
        """Remember it in place of what was."""
        ...

    def replace_intervals(
        self, site_key: int, intervals: StationIntervals, *, sha256: str, recorded_at: datetime
    ) -> tuple[int, int]:
        """Store the intervals of a file and forget what they replace.

        Replaced is what the same file brought before, and every interval of like length that
        overlaps one of these; a day and its hours stand beside each other. Returns the first and
        last instant touched, in seconds since 1970 UTC.
        """
        ...

    def read_intervals(
        self, site_key: int, *, start_epoch_s: int, end_epoch_s: int
    ) -> StationIntervals:
        """Every interval that overlaps the span, by start."""
        ...


class ChangeMarks(Protocol):
    """Counts how often things of a kind have changed, so that processes know when to look again.

    Topics in use: ``programs``, ``plans``, ``keys``.
    """

    def bump(self, topic: str) -> None:
        """Say that something of the topic has changed, in the transaction that changes it."""
        ...

    def read_all(self) -> dict[str, int]:
        """The count of every topic that ever changed."""
        ...


class ControllerStore(Protocol):
    """Controllers with their channels, and the programs that they poll."""

    def save_controllers(
        self, farm_id: str, controllers: Sequence[ControllerDefinition], *, recorded_at: datetime
    ) -> LoadOutcome:
        """Store what differs; controllers of the farm that are not among these are retired."""
        ...

    def list_controllers(
        self, farm_id: str | None = None, *, with_retired: bool = False
    ) -> list[StoredController]:
        """Controllers of a farm, or of all, by id."""
        ...

    def get_controller(self, controller_id: str) -> StoredController:
        """One controller, retired or not; raises NotFound."""
        ...

    def list_keys_in_use(self, farm_keys: Ints) -> Ints:
        """Keys of the controllers of these farms that are in use, in rising order."""
        ...

    def read_definitions(self, controller_keys: Ints) -> list[tuple[int, ControllerDefinition]]:
        """Definitions by key, in rising order of the key."""
        ...

    def read_plans(self, block_keys: Ints, *, first_day: date) -> ChannelPlans:
        """Plans in force of these blocks from a day on, by day and block."""
        ...

    def read_programs(self, controller_keys: Ints) -> list[ProgramRow]:
        """The programs in force of these controllers, by key."""
        ...

    def save_programs(self, rows: Sequence[ProgramRow], *, mark: int) -> None:
        """Replace programs; ``mark`` is the count of the topic ``programs`` that tells of it."""
        ...

    def find_programs(self, controller_ids: Sequence[str]) -> list[StoredProgram]:
        """What to answer polls of these controllers from; unknown ids are left out."""
        ...

    def list_changed(self, *, after_mark: int) -> list[str]:
        """Ids of the controllers whose program or pairing changed after a mark."""
        ...


class CalendarStore(Protocol):
    """Secret links to farms' calendars, and what stands in those."""

    def replace_link(self, farm_id: str, *, token_digest: str, created_at: datetime) -> None:
        """Make this the one link of a farm; the one before stops working."""
        ...

    def find_farm(self, token_digest: str) -> str | None:
        """The farm that a link belongs to."""
        ...

    def list_versions(
        self, farm_id: str, *, first_day: date, last_day: date, superseded_after: datetime
    ) -> list[PlanVersion]:
        """Plan versions in force, and those superseded since an instant, by block, day, version."""
        ...


class WaterworksStore(Protocol):
    """Catch tests, water samples, flow findings, fertilisers and what is to be injected when.

    Saving the same again is ``unchanged``; saving something else for the same day replaces it.
    """

    def save_catch_test(
        self, block_key: int, test: CatchTest, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Keep a test by its day."""
        ...

    def list_catch_tests(self, block_key: int) -> list[CatchTest]:
        """All tests of a block, the newest first."""
        ...

    def save_sample(
        self, supply_key: int, sample: WaterSample, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Keep a laboratory's report by the day of the sample."""
        ...

    def list_samples(self, supply_key: int) -> list[WaterSample]:
        """All reports on a supply's water, the newest first."""
        ...

    def save_finding(
        self, block_key: int, finding: FlowFinding, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Keep a finding by the day of its last run."""
        ...

    def list_findings(self, block_key: int) -> list[FlowFinding]:
        """All findings of a block, the newest first."""
        ...

    def save_product(
        self, farm_key: int, product: Product, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Keep a farm's own product by its key."""
        ...

    def list_products(self, farm_key: int) -> list[Product]:
        """A farm's own products, by key."""
        ...

    def save_fertigation(
        self, block_key: int, order: FertigationOrder, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Keep what is to be injected on a day."""
        ...

    def remove_fertigation(self, block_key: int, *, day: date) -> bool:
        """Forget it; False where there was none."""
        ...

    def list_fertigations(
        self, block_key: int, *, first_day: date, last_day: date
    ) -> list[FertigationOrder]:
        """What is to be injected into a block in the span, by day."""
        ...

    def read_fertigations(self, block_keys: Ints, *, day: date) -> dict[int, FertigationOrder]:
        """What is to be injected on a day, by block key; blocks without are left out."""
        ...


class FarmFormat(Protocol):
    """A farm as people and programs write it, and back."""

    def parse(self, document: Mapping[str, object], *, below: str = "") -> FarmBundle:
        """The farm that a JSON document describes; raises FarmFileInvalid.

        Faults below the pointer ``below`` are told relative to it.
        """
        ...

    def document(self, bundle: FarmBundle) -> dict[str, object]:
        """The bundle as a JSON document; parsing it gives the same bundle."""
        ...

    def text(self, bundle: FarmBundle) -> str:
        """The bundle as the text of a farm file."""
        ...


class WeatherSource(Protocol):
    """A weather service: asked for sites and days, answers in this project's units and days."""

    name: str
    attribution: Attribution

    async def fetch(
        self, sites: Sequence[SiteDefinition], *, first_day: date, last_day: date, now: datetime
    ) -> SourceAnswer:
        """Weather of local civil days at these sites; ``site_keys`` of the rows are positions in
        ``sites``.

        Never raises for what a provider does wrong: that ends as problems in the answer, and as
        days or fields that are missing. Never gives a sentinel as a value.
        """
        ...


class RefreshWeather(Protocol):
    """Asks one weather service for news of some sites and stores what it says."""

    def __call__(self, site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        """What could not be had; a problem without a site means that nothing could.

        The same call again stores nothing twice. The caller holds no write transaction meanwhile.
        """
        ...


class BreakerStore(Protocol):
    """Breaker states shared by all processes."""

    def read(self, key: str) -> BreakerState:
        """The state; a closed one where nothing is stored."""
        ...

    def write(self, state: BreakerState) -> None:
        """Store a state under its key."""
        ...

    def list_states(self) -> list[BreakerState]:
        """All that are stored, by key."""
        ...


class PayloadStore(Protocol):
    """Raw answers of weather services."""

    def find(self, url_digest: str) -> StoredPayload | None:
        """The newest answer to a request."""
        ...

    def save(self, payload: StoredPayload) -> None:
        """Keep an answer; the same body again for the same request only renews its times."""
        ...

    def prune(self, *, before: datetime) -> int:
        """Delete what was fetched before; returns how many."""
        ...


class RunLedger(Protocol):
    """Which jobs have run: one row per run key, claimed by one process at a time."""

    def claim(
        self, run_key: str, *, job: str, due_at: datetime, owner: str, now: datetime, lease_s: int
    ) -> bool:
        """Take a run that nobody has done and nobody holds; False: done, held, or given up."""
        ...

    def renew(self, run_key: str, *, owner: str, now: datetime, lease_s: int) -> bool:
        """Extend one's own lease; False when it was lost."""
        ...

    def finish(self, run_key: str, *, owner: str, now: datetime, outcome: str) -> None:
        """Mark one's own run as done; raises Conflict when it was lost."""
        ...

    def give_back(self, run_key: str, *, owner: str, now: datetime, retry_at: datetime) -> None:
        """Give a failed run back, to be claimed again from ``retry_at`` on; Conflict when lost."""
        ...

    def list_done(self, run_keys: Sequence[str]) -> set[str]:
        """Those of the keys that are done."""
        ...

    def list_runs(self, *, first_due_at: datetime) -> list[JobRun]:
        """Runs that were due from an instant on and have been claimed at least once, by due time.

        Runs that are due and have never been claimed are not among them.
        """
        ...

    def note_tick(self, *, owner: str, now: datetime) -> None:
        """Remember that a scheduler looked at what is due."""
        ...

    def last_tick_at(self) -> datetime | None:
        """When any scheduler last did so; None: never."""
        ...

    def prune(self, *, before: datetime) -> int:
        """Forget done runs that were due before, and schedulers silent since; returns the runs."""
        ...


class KeyStore(Protocol):
    """Bearer keys, by the hash of each."""

    def add(self, key: ApiKey) -> None:
        """Store a new key; raises Conflict where its id is taken."""
        ...

    def list_keys(self) -> list[ApiKey]:
        """All keys, revoked and expired ones too, by time of creation."""
        ...

    def revoke(self, key_id: str, *, at: datetime) -> bool:
        """End a key; False where it has ended already. Raises NotFound for an unknown id."""
        ...

    def note_uses(self, uses: Mapping[str, datetime]) -> None:
        """Remember when keys were used last; an earlier time never replaces a later one."""
        ...


class AnswerStore(Protocol):
    """Answers by tenant and idempotency key."""

    def find(self, tenant: str, idempotency_key: str) -> StoredAnswer | None:
        """The answer that this key of this tenant got."""
        ...

    def save(self, tenant: str, idempotency_key: str, answer: StoredAnswer) -> None:
        """Remember an answer in place of an older one under the same key."""
        ...

    def prune(self, *, before: datetime) -> int:
        """Forget answers stored before; returns how many."""
        ...


class SoilStore(Protocol):
    """Soil readings by block and instant."""

    def record(self, reading: SoilReading, *, recorded_at: datetime) -> LoadOutcome:
        """Store a reading; another one of the same block and instant takes its place."""
        ...

    def list_readings(self, block_id: str, *, first_day: date, last_day: date) -> list[SoilReading]:
        """Readings of a block in the span, by time."""
        ...

    def read_depletions(
        self, block_keys: Ints, *, first_day: date, last_day: date
    ) -> DepletionReadings:
        """What the readings of these blocks in the span say, by time."""
        ...


class PauseStore(Protocol):
    """Times without water that were asked for, by block."""

    def add(self, pause: Pause) -> None:
        """Store a pause; raises NotFound for an unknown block."""
        ...

    def cancel(self, block_id: str, pause_id: str, *, at: datetime) -> bool:
        """End a pause as if it had not been; False where it was cancelled already.

        Raises NotFound where the block has no such pause.
        """
        ...

    def list_pauses(self, block_id: str) -> list[Pause]:
        """Pauses of a block that are not cancelled, by start."""
        ...

    def read_periods(self, block_keys: Ints) -> dict[int, tuple[NoWaterPeriod, ...]]:
        """The periods of these blocks that are not cancelled; blocks without any are missing."""
        ...


class PeopleStore(Protocol):
    """Who gets mail, about which farm, and who must not get any more."""

    def save(self, definition: Person, *, farm_id: str = "") -> str:
        """Store a person of a farm, or of none: ``created``, ``changed`` or ``unchanged``.

        What they have unsubscribed from, or were suppressed for, stays as it is. Raises NotFound
        for an unknown farm.
        """
        ...

    def list_people(
        self, *, farm_id: str | None = None, mail_address: str | None = None
    ) -> list[KnownPerson]:
        """All people, those of a farm, or those behind an address, by address and farm."""
        ...

    def list_readers(
        self, mail_list: str, *, role: str, farm_keys: Ints | None = None
    ) -> list[KnownPerson]:
        """Who wants mails of a list and may get them; without farm keys, of all farms."""
        ...

    def remove(self, mail_address: str, *, farm_id: str | None = None) -> int:
        """Forget who is behind an address, at one farm or all, and their mails; how many."""
        ...

    def unsubscribe(self, person_key: int, mail_list: str) -> None:
        """Take a person off a list for good; only they, or the operator, put them back."""
        ...

    def suppress(self, person_key: int, *, at: datetime, reason: str) -> None:
        """Send nothing to a person's address any more, whatever farm it is about."""
        ...

    def resume(self, mail_address: str, *, receives: Sequence[str]) -> int:
        """Send to an address again, these lists; returns how many people that are."""
        ...

    def note_delivery(self, person_key: int, *, is_delivered: bool) -> int:
        """Count mails that were put off until too late, from 0 after each that arrived."""
        ...


class OutboxStore(Protocol):
    """Mails to be sent, each once, whatever happens in between."""

    def read_marks(self, farm_keys: Ints, *, day: date) -> list[PlanMark]:
        """The plans in force for a day, farm by farm."""
        ...

    def list_said(
        self, farm_ids: Sequence[str], *, day: date, kind: str
    ) -> dict[tuple[int, str], Mapping[str, int | str | None]]:
        """By (person key, farm id) what the newest mail of a kind says of a day."""
        ...

    def queue(self, orders: Sequence[MailOrder], *, at: datetime) -> int:
        """Store orders that are not there yet, returns how many were new.

        A new order takes the place of older versions of the same mail that are not sent yet.
        """
        ...

    def list_known(self, kind: str, *, day: date) -> set[tuple[int, str]]:
        """(person key, farm id) of orders of a kind and day."""
        ...

    def has_due(self, *, now: datetime) -> bool:
        """Whether there is a mail whose time has come."""
        ...

    def claim(self, *, owner: str, now: datetime, lease_s: int, limit: int) -> list[QueuedMail]:
        """Take mails whose time has come and that nobody holds, the oldest first."""
        ...

    def store_message(
        self, mail_key: int, message: bytes, *, message_id: str, token_digest: str
    ) -> None:
        """Keep what was written, so that each attempt sends the same bytes."""
        ...

    def settle(
        self,
        mail_key: int,
        *,
        owner: str,
        now: datetime,
        state: str,
        reply: str = "",
        next_try_at: datetime | None = None,
    ) -> bool:
        """Say what became of one's own mail; False: somebody else took it over meanwhile."""
        ...

    def find_by_token(self, token_digest: str) -> tuple[KnownPerson, str] | None:
        """Whom a mail went to, and the kind of the mail."""
        ...

    def list_mails(self, *, first_queued_at: datetime) -> list[MailRow]:
        """Mails queued since, the newest first."""
        ...

    def prune(self, *, before: datetime) -> int:
        """Forget mails that were queued before and are over; returns how many."""
        ...


class SignInStore(Protocol):
    """Links by mail that open the pages: who asked for one, and whether it was used."""

    def ask(self, mail_address: str, *, at: datetime) -> None:
        """Note that somebody asked for a link to an address, be it known or not."""
        ...

    def has_asked(self) -> bool:
        """Whether anybody waits for a link."""
        ...

    def take_asked(self) -> list[tuple[str, datetime]]:
        """Address and time of all who wait, who then wait no more."""
        ...

    def find_people(self, mail_address: str) -> list[KnownPerson]:
        """The people behind an address, whatever its letters' case; the exact ones first."""
        ...

    def count_links(self, person_key: int, *, since: datetime) -> int:
        """How many links were ordered for a person since."""
        ...

    def find_link(self, token_digest: str, *, now: datetime) -> KnownPerson | None:
        """Whom a link signs in; None where it is not known, used or too old."""
        ...

    def use_link(self, token_digest: str, *, now: datetime) -> KnownPerson | None:
        """As :meth:`find_link`, and the link is used: one caller alone gets the person."""
        ...


class AfterPublish(Protocol):
    """What else is to be done where new plans are published, in the same transaction."""

    def __call__(
        self, unit: UnitOfWork, farm_keys: Ints, *, day: date, issued_at: datetime
    ) -> object:
        """Do it for some farms and a day; the same plans again must do nothing more."""
        ...


class ComposeMail(Protocol):
    """Writes a letter as the bytes of one mail to one person."""

    def __call__(self, letter: AnyLetter, reader: Person, stamp: MailStamp) -> bytes:
        """The message, ready to be sent; the same letter and stamp say the same."""
        ...


class MailSession(Protocol):
    """An open connection to the relay."""

    def send(self, message: bytes, *, recipient: str) -> str:
        """Hand over one mail for one recipient; returns the relay's reply.

        Raises MailRefused where the relay says no, MailUnavailable where it cannot be talked to.
        """
        ...

    def close(self) -> None:
        """End the connection; never raises."""
        ...


class MailTransport(Protocol):
    """The way to the relay."""

    def __call__(self) -> MailSession:
        """Connect; raises MailUnavailable."""
        ...


class UnitOfWork(Protocol):
    """One transaction over all stores: commits on clean exit, rolls back otherwise."""

    blocks: BlockStore
    weather: WeatherArchive
    ledger: LedgerStore
    plans: PlanStore
    stations: StationStore
    waterworks: WaterworksStore
    runs: RunLedger
    breakers: BreakerStore
    payloads: PayloadStore
    keys: KeyStore
    answers: AnswerStore
    soil: SoilStore
    pauses: PauseStore
    marks: ChangeMarks
    controllers: ControllerStore
    calendars: CalendarStore
    people: PeopleStore
    outbox: OutboxStore
    sign_ins: SignInStore

    def __enter__(self) -> Self:
        """Begin the transaction."""
        ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Commit after a clean block, roll back after an error."""
        ...


class UnitOfWorkFactory(Protocol):
    """Opens units of work; ``write`` ones take the write lock at once."""

    def __call__(self, *, write: bool) -> UnitOfWork:
        """A new unit of work, not begun yet."""
        ...
