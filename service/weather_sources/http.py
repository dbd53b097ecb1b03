"""The one way to call a weather service: polite, bounded in time and size, logged.

Every request goes through :meth:`Exchange.get_json`. It answers from the stored payload while that
is fresh, asks the breakers of the host and of the grid cell, keeps to the service's rate limit, and
makes up to four attempts under one deadline. Only GET is sent, redirects are never followed (with a
key in the query they would carry it elsewhere), proxies and .netrc of the machine are ignored, and
a body is read up to a limit and must be strict JSON. What fails ends as one :class:`RequestFailed`
with a short, stable reason; a source turns it into a problem of its answer.

What comes in is kept through the payload store: for conditional requests, for replay, and as
evidence of what a service answered. A key is sent, but not stored, logged or part of any message.

Stores are opened for a moment before and after a request, in a thread, never during one; the
caller must not hold a write transaction meanwhile.
"""

from __future__ import annotations

import asyncio
import logging
import ssl
import time
from collections.abc import AsyncIterator, Collection
from contextlib import AbstractContextManager, asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Protocol
from urllib.parse import urlsplit

import httpx
import stamina

from service import __version__
from service.errors import Fault, SettingsInvalid
from service.logs import get_logger
from service.ports import BreakerStore, PayloadStore
from service.records.weather import BreakerState, StoredPayload
from service.weather_sources.attempt import AttemptFailed, Body, send
from service.weather_sources.breaker import (
    add_failures,
    claim_probe,
    closed_state,
    is_due_for_probe,
    is_open,
)
from service.weather_sources.request import JsonAnswer, JsonRequest, RequestFailed
from service.weather_sources.stored_answer import (
    KnownAnswer,
    conditions_of,
    payload_of,
    unpacked,
)

ACCEPTED = "application/geo+json, application/json;q=0.9, */*;q=0.1"
"""The first is what the grid service answers with by itself; the others have only one form."""
ATTEMPT_LIMIT = 4
FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 30.0
WAIT_JITTER_S = 1.0
LONGEST_PATIENCE = timedelta(days=1)
"""A service that asks for a longer wait than this is asked again after this time all the same."""
LONGEST_RETRY_AFTER_S = 900.0
"""A longer wait never happens inside a request, whatever its deadline."""

_log = get_logger(__name__)

# httpx logs every URL at INFO, and one service accepts its customer key only in the URL.
logging.getLogger("httpx").setLevel(logging.WARNING)


class SourceStores(Protocol):
    """The two stores that requests need, inside one transaction."""

    @property
    def breakers(self) -> BreakerStore:
        """Breaker states."""
        ...

    @property
    def payloads(self) -> PayloadStore:
        """Raw answers."""
        ...


class OpenStores(Protocol):
    """Opens the stores; a unit-of-work factory is one."""

    def __call__(
        self, *, write: bool, farm_keys: Collection[int] | None = None
    ) -> AbstractContextManager[SourceStores]:
        """The stores in a transaction that ends with the ``with`` block.

        ``farm_keys``: empty where nothing is read and then changed, so that no lock is needed.
        """
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpPolicy:
    """How long a request may take; a batch is all requests of one fetch."""

    connect_timeout_s: float = 5.0
    read_timeout_s: float = 20.0
    pool_timeout_s: float = 5.0
    total_deadline_s: float = 45.0
    """Around all attempts of one request."""
    batch_deadline_s: float = 600.0


class WeatherHttp:
    """What all sources of a process share: stores, policy, name, and the pace of each host."""

    def __init__(
        self, open_stores: OpenStores, *, contact: str, policy: HttpPolicy | None = None
    ) -> None:
        """``contact`` is a mail address or page by which a service can reach the operator."""
        self.open_stores = open_stores
        self.policy = policy or HttpPolicy()
        self.user_agent = f"rillwright/{__version__} ({_check_contact(contact)})"
        self._next_start: dict[str, float] = {}

    @asynccontextmanager
    async def begin(self, now: datetime) -> AsyncIterator[Exchange]:
        """A batch of requests that starts at ``now``; connections are closed when it ends."""
        policy = self.policy
        timeout = httpx.Timeout(
            connect=policy.connect_timeout_s,
            read=policy.read_timeout_s,
            write=policy.read_timeout_s,
            pool=policy.pool_timeout_s,
        )
        async with httpx.AsyncClient(
            timeout=timeout,
            follow_redirects=False,
            trust_env=False,
            verify=_tls(),
            headers={"User-Agent": self.user_agent, "Accept": ACCEPTED},
            limits=httpx.Limits(max_connections=5, max_keepalive_connections=5),
        ) as client:
            yield Exchange(self, client, now)

    async def keep_pace(self, host: str, pause: timedelta) -> None:
        """Wait for a turn at a host, and reserve the interval after it."""
        start = max(time.monotonic(), self._next_start.get(host, 0.0))
        self._next_start[host] = start + pause.total_seconds()
        wait_s = start - time.monotonic()
        if wait_s > 0.0:
            await asyncio.sleep(wait_s)


class Exchange:
    """The requests of one fetch: one clock, one deadline, one count."""

    def __init__(self, http: WeatherHttp, client: httpx.AsyncClient, now: datetime) -> None:
        self._http = http
        self._client = client
        self._now = now.astimezone(UTC)
        self._began = time.monotonic()
        self.sent = 0
        """Requests sent so far, retries included."""

    def moment(self) -> datetime:
        """The time of the fetch plus what has passed since it began."""
        return self._now + timedelta(seconds=time.monotonic() - self._began)

    async def get_json(
        self, request: JsonRequest, *, not_older_than: timedelta | None = None
    ) -> JsonAnswer:
        """The answer, from the store while fresh, else from the service; raises RequestFailed.

        ``not_older_than`` limits the age up to which a stored answer will do.
        """
        known, states = await asyncio.to_thread(self._look_up, request)
        if known is not None and self._is_fresh(known.payload, not_older_than):
            return JsonAnswer(known.content, known.payload.fetched_at)
        self._refuse_if_late()
        is_probe = await self._pass_breakers(request, states)
        failures: list[AttemptFailed] = []
        try:
            async with asyncio.timeout(self._left_s()):
                await self._http.keep_pace(request.host, request.pause)
        except TimeoutError:
            pass  # said below
        self._refuse_if_late()
        try:
            limit_s = min(self._http.policy.total_deadline_s, self._left_s())
            async with asyncio.timeout(limit_s) as limit:
                body = await self._attempts(
                    request, known, failures, ends=limit.when(), is_probe=is_probe
                )
        except TimeoutError:
            self._refuse_if_late()
            late = AttemptFailed("timeout", f"{request.place} did not answer in time")
            failures.append(late)
            await asyncio.to_thread(self._note_failure, request, failures)
            raise late from None
        except AttemptFailed as failure:
            retry_at = await asyncio.to_thread(self._note_failure, request, failures)
            raise RequestFailed(failure.reason, failure.message, retry_at=retry_at) from failure
        return await asyncio.to_thread(self._note_success, request, known, states, body)

    def _left_s(self) -> float:
        return self._http.policy.batch_deadline_s - (time.monotonic() - self._began)

    def _refuse_if_late(self) -> None:
        if self._left_s() <= 0.0:
            raise RequestFailed("deadline", "the time for this batch of requests was over")

    # --- before ------------------------------------------------------------------------------

    def _look_up(self, request: JsonRequest) -> tuple[KnownAnswer | None, tuple[BreakerState, ...]]:
        with self._http.open_stores(write=False) as stores:
            payload = stores.payloads.find(request.url_digest)
            states = tuple(stores.breakers.read(breaker.key) for breaker in request.breakers)
        return (None if payload is None else unpacked(payload)), states

    def _is_fresh(self, payload: StoredPayload, not_older_than: timedelta | None) -> bool:
        at = self.moment()
        if payload.expires_at is None or not payload.fetched_at <= at < payload.expires_at:
            return False
        return not_older_than is None or at - payload.fetched_at <= not_older_than

    async def _pass_breakers(self, request: JsonRequest, states: tuple[BreakerState, ...]) -> bool:
        """Raise where a breaker is open; True: this request is the probe of one."""
        self._refuse_if_open(request, states)
        if not any(is_due_for_probe(state, self.moment()) for state in states):
            return False
        await asyncio.to_thread(self._claim_probe, request)
        return True

    def _claim_probe(self, request: JsonRequest) -> None:
        # Read again under the write lock: another process may have been first.
        with self._http.open_stores(write=True) as stores:
            states = tuple(stores.breakers.read(breaker.key) for breaker in request.breakers)
            self._refuse_if_open(request, states)
            at = self.moment()
            for state in states:
                if is_due_for_probe(state, at):
                    stores.breakers.write(claim_probe(state, at))

    def _refuse_if_open(self, request: JsonRequest, states: tuple[BreakerState, ...]) -> None:
        at = self.moment()
        for state in states:
            if is_open(state, at):
                raise RequestFailed(
                    "breaker-open",
                    f"{state.key} failed too often or asked us to wait (last: "
                    f"{state.last_reason}); no request is sent for now",
                    retry_at=state.open_until,
                )

    # --- the attempts ------------------------------------------------------------------------

    async def _attempts(
        self,
        request: JsonRequest,
        known: KnownAnswer | None,
        failures: list[AttemptFailed],
        *,
        ends: float | None,
        is_probe: bool,
    ) -> Body:
        def may_retry(error: Exception) -> bool | float:
            if not isinstance(error, AttemptFailed) or not error.may_retry:
                return False
            if error.wait is None:
                return True
            wait_s = error.wait.total_seconds()
            left_s = LONGEST_RETRY_AFTER_S
            if ends is not None:
                left_s = min(left_s, ends - asyncio.get_running_loop().time())
            return wait_s if wait_s < left_s else False

        async for attempt in stamina.retry_context(
            on=may_retry,
            attempts=1 if is_probe else ATTEMPT_LIMIT,
            timeout=None,  # the deadline around all attempts is the limit
            wait_initial=FIRST_WAIT_S,
            wait_max=LONGEST_WAIT_S,
            wait_jitter=WAIT_JITTER_S,
        ):
            with attempt:
                if attempt.num > 1:
                    await self._http.keep_pace(request.host, request.pause)
                try:
                    return await self._attempt(request, known)
                except AttemptFailed as failure:
                    failures.append(failure)
                    raise
        raise AssertionError("the last attempt either returns or raises")

    async def _attempt(self, request: JsonRequest, known: KnownAnswer | None) -> Body:
        self.sent += 1
        return await send(
            self._client,
            request,
            conditions=conditions_of(known),
            known=None if known is None else known.content,
            moment=self.moment,
        )

    # --- after -------------------------------------------------------------------------------

    def _note_failure(self, request: JsonRequest, failures: list[AttemptFailed]) -> datetime | None:
        """Tell the breakers; returns when the service wants to be called again, if it says when."""
        at = self.moment()
        last = failures[-1]
        _log.warning(
            "weather request failed",
            source=request.source,
            place=request.place,
            outcome=last.reason,
            reason=last.message,
            attempt_count=len(failures),
        )
        asked_back_at = None
        if last.wait is not None:
            asked_back_at = at + min(last.wait, LONGEST_PATIENCE)
        host, *cells = request.breakers
        counts = {host: sum(f.is_fault and not f.is_about_cell for f in failures)}
        counts.update({cell: sum(f.is_fault for f in failures) for cell in cells})
        with self._http.open_stores(write=True) as stores:
            for breaker, count in counts.items():
                state = stores.breakers.read(breaker.key)
                if not last.is_fault or (last.is_about_cell and breaker is host):
                    # The service answered: it works, even if it refused the request.
                    if state != closed_state(breaker.key):
                        stores.breakers.write(closed_state(breaker.key))
                elif count:
                    stores.breakers.write(
                        add_failures(
                            breaker,
                            state,
                            count,
                            at=at,
                            reason=last.reason,
                            asked_back_at=asked_back_at,
                        )
                    )
        return asked_back_at

    def _note_success(
        self,
        request: JsonRequest,
        known: KnownAnswer | None,
        states: tuple[BreakerState, ...],
        body: Body,
    ) -> JsonAnswer:
        at = self.moment()
        _log.debug(
            "weather request answered",
            source=request.source,
            place=request.place,
            outcome="unchanged" if body.raw is None else "new",
        )
        # Whole rows by their keys, whatever was there before: an answer waits for no evening.
        with self._http.open_stores(write=True, farm_keys=()) as stores:
            if request.is_kept:
                stores.payloads.save(payload_of(request, known, body, at))
            for state in states:
                if state != closed_state(state.key):
                    stores.breakers.write(closed_state(state.key))
        return JsonAnswer(body.content, at)


def check_base_url(setting: str, url: str) -> str:
    """A base URL from the settings, without a slash at its end; raises SettingsInvalid.

    TLS is required except on the loopback interface, where tests and self-hosted services run.
    """
    parts = urlsplit(url)
    is_loopback = parts.hostname in ("127.0.0.1", "localhost", "::1")
    if (
        not parts.hostname
        or parts.query
        or parts.fragment
        or parts.username
        or not (parts.scheme == "https" or (parts.scheme == "http" and is_loopback))
    ):
        raise SettingsInvalid(
            "a weather service cannot be reached this way",
            [Fault(setting, repr(url), "https://host[/path], or http:// on this machine itself")],
        )
    return url.rstrip("/")


@cache
def _tls() -> ssl.SSLContext:
    """Trust as httpx comes with it; reading it takes longer than a request."""
    return httpx.create_ssl_context(trust_env=False)


def _check_contact(contact: str) -> str:
    if not contact or not contact.isascii() or not contact.isprintable():
        raise SettingsInvalid(
            "weather services ask for a contact address",
            [Fault("contact", repr(contact), "a mail address or a page, plain ASCII")],
        )
    return contact
