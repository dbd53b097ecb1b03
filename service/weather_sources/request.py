"""One request to a weather service, its answer, and its failure."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from urllib.parse import urlencode, urlsplit

from service.errors import WeatherUnavailable
from service.records.farms import SiteDefinition
from service.records.weather import SourceProblem
from service.weather_sources.breaker import CELL_WINDOW, Breaker


class RequestFailed(WeatherUnavailable):
    """A failed request: a one-word reason, a sentence, and when to try again."""

    def __init__(self, reason: str, message: str, *, retry_at: datetime | None = None) -> None:
        self.reason = reason
        self.message = message
        self.retry_at = retry_at
        super().__init__(f"{reason}: {message}")

    def as_problem(self, source: str, site: SiteDefinition) -> SourceProblem:
        """The failure as a source's answer carries it."""
        return SourceProblem(
            source=source,
            site_id=site.site_id,
            reason=self.reason,
            message=self.message,
            retry_at=self.retry_at,
        )


def _no_wait_in_text(_remark: str, _at: datetime) -> timedelta | None:
    return None


def _take_all(content: object) -> object:
    return content


@dataclass(frozen=True, slots=True, kw_only=True)
class JsonRequest:
    """One request to a weather service."""

    source: str
    url: str
    """Without a query."""
    query: Mapping[str, str] = field(default_factory=dict)
    secrets: Mapping[str, str] = field(default_factory=dict, repr=False)
    """Query parameters that are sent but appear nowhere else."""
    cell: str | None = None
    """Grid cell that the request is about, where a service fails cell by cell."""
    keep_for: timedelta | None = None
    """How long an answer counts as fresh; None: as its caching headers say."""
    pause: timedelta = timedelta(0)
    """Least time from the start of this request to the start of the next one to this host."""
    wait_in_text: Callable[[str, datetime], timedelta | None] = _no_wait_in_text
    """Reads from the text of a refusal how long to wait, where a service says so in words."""
    check: Callable[[object], object] = _take_all
    """Raises RequestFailed for content that is not an answer; such content is not kept."""
    is_kept: bool = True
    """False: the answer is too large to be kept, and is not used for later requests."""

    @property
    def shown_url(self) -> str:
        """The URL without secrets: its identity in the payload store."""
        return f"{self.url}?{urlencode(self.query, safe=',')}" if self.query else self.url

    @property
    def url_digest(self) -> str:
        """SHA-256 of the URL without secrets."""
        return hashlib.sha256(self.shown_url.encode()).hexdigest()

    @property
    def host(self) -> str:
        """Host, with the port where one is given."""
        return urlsplit(self.url).netloc

    @property
    def breakers(self) -> tuple[Breaker, ...]:
        """The host's breaker, then the cell's."""
        host = Breaker(f"{self.source}|{self.host}")
        if self.cell is None:
            return (host,)
        return (host, Breaker(f"{host.key}|{self.cell}", CELL_WINDOW))

    @property
    def place(self) -> str:
        """Host and path, for messages."""
        return f"{self.host}{urlsplit(self.url).path}"


@dataclass(frozen=True, slots=True)
class JsonAnswer:
    """What a service answered, and when."""

    content: object
    fetched_at: datetime
