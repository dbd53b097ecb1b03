"""What the operations need from the outside, as Protocols; adapters fill them in.

Methods that take or return tables are column-wise, because a run asks for a whole region at once.
Stores never commit: the unit of work does, once, when its ``with`` block ends cleanly.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from types import TracebackType
from typing import Protocol, Self

from service.agronomy.records import Days, Ints
from service.records import (
    AppliedWater,
    Attribution,
    BalanceState,
    BlockDefinition,
    BlockTable,
    BreakerState,
    CountyDefinition,
    FarmBundle,
    FarmDefinition,
    GaugeReading,
    JobRun,
    LedgerRows,
    LoadOutcome,
    PlanRows,
    PlansInForce,
    PublishedPlan,
    RunRows,
    SiteDefinition,
    SiteTable,
    SourceAnswer,
    SourceProblem,
    StationIntervals,
    StationSetup,
    StoredPayload,
    SupplyTable,
    WeatherRows,
)


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

    def publish(self, rows: PlanRows, *, issued_at: datetime) -> int:
        """Store a new version of each plan whose digest differs from the one in force.

        The version in force before it is marked superseded. A ``no-weather`` plan never
        supersedes one that has minutes. Returns the number of new versions.
        """
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
        """Mark one's own run as done."""
        ...

    def give_back(self, run_key: str, *, owner: str, now: datetime, retry_at: datetime) -> None:
        """Give a failed run back, to be claimed again from ``retry_at`` on."""
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


class UnitOfWork(Protocol):
    """One transaction over all stores: commits on clean exit, rolls back otherwise."""

    blocks: BlockStore
    weather: WeatherArchive
    ledger: LedgerStore
    plans: PlanStore
    stations: StationStore
    runs: RunLedger
    breakers: BreakerStore
    payloads: PayloadStore

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
