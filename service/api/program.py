"""The programs that controllers poll, cached in this process.

They were rendered when the plans behind them were published. A program is read from the database on
first use, many at a time, and kept until the change marks show that it is out of date (see
:mod:`service.api.news`).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from starlette.responses import Response

from service.api.answers import VARY, holds
from service.api.news import News
from service.api.openapi_headers import CACHE_CONTROL
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound, Retired
from service.operations.evening.publish_programs import TOPIC, csv_body, json_body
from service.records.controllers import StoredProgram

MOST_KEPT: Final = 50_000
"""Controllers whose documents a process caches, about 5 kB each; our own choice."""
_TEN_DIGITS: Final = 1_000_000_000
# The same objects in all documents: ten thousand copies would not stay in the processor's cache.
_COMMON_HEADERS: Final = (
    (b"cache-control", CACHE_CONTROL.encode("ascii")),
    (b"vary", VARY.encode("ascii")),
    (b"x-content-type-options", b"nosniff"),
)
JSON_TYPE: Final = (b"content-type", b"application/json")
_CSV_TYPE: Final = (b"content-type", b"text/csv; charset=us-ascii")
Headers = tuple[tuple[bytes, bytes], ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A cached answer: its tag, its headers and its body."""

    tag: bytes
    headers: Headers
    """Headers of an answer with a body; the length includes the time filled in."""
    not_modified: Headers
    text: bytes
    finish: Callable[[bytes, int], bytes] | None = None
    """Fills the server's time into the text; None: the text is the body."""

    def body(self, server_epoch_s: int) -> bytes:
        """The body as sent at the given time."""
        return self.text if self.finish is None else self.finish(self.text, server_epoch_s)

    def is_held(self, if_none_match: bytes | None) -> bool:
        """Whether a caller who sends these tags already has this document."""
        if if_none_match is None:
            return False
        return if_none_match == self.tag or holds(
            if_none_match.decode("latin-1"), self.tag.decode("ascii")
        )


@dataclass(frozen=True, slots=True)
class Shown:
    """The documents that answer the polls of one controller."""

    controller_id: str
    farm_id: str
    is_retired: bool
    json: Document | None
    csv_text: bytes

    def document(self, *, as_csv: bool) -> Document:
        """The program in the requested format; raises Retired, or NotFound before there is one."""
        if self.is_retired:
            raise Retired(f"controller {self.controller_id} is no longer in use")
        if self.json is None:
            raise NotFound(f"controller {self.controller_id}: no program has been published yet")
        if as_csv:
            tag = self.json.tag.replace(b"-json", b"-csv")
            return make_document(self.csv_text, tag, _CSV_TYPE, csv_body)
        return self.json


class Programs:
    """The programs of controllers, cached in this process while they are current."""

    def __init__(self, unit_of_work: UnitOfWorkFactory, news: News) -> None:
        self._unit_of_work = unit_of_work
        self._kept: dict[str, Shown] = {}
        self._wanted: dict[str, asyncio.Future[Shown | None]] = {}
        self._loading: asyncio.Task[None] | None = None
        self._generation = 0
        news.listen(TOPIC, _read_changed, self._forget)

    def find(self, controller_id: str) -> Shown | None:
        """The cached program of a controller; None if it must be loaded first."""
        return self._kept.get(controller_id)

    async def load(self, controller_id: str) -> Shown | None:
        """A controller's program from the database; None if there is no such controller.

        Requests that come during a read are answered together by the next one.
        """
        wanted = self._wanted.get(controller_id)
        if wanted is None:
            wanted = asyncio.get_running_loop().create_future()
            self._wanted[controller_id] = wanted
        if self._loading is None or self._loading.done():
            self._loading = asyncio.create_task(self._load_wanted())
        return await asyncio.shield(wanted)

    async def _load_wanted(self) -> None:
        while self._wanted:
            wanted, self._wanted = self._wanted, {}
            generation = self._generation
            try:
                found = await asyncio.to_thread(self._read, list(wanted))
            except (
                Exception
            ) as error:  # the waiting requests get the error, and the next one tries again
                for future in wanted.values():
                    if not future.done():
                        future.set_exception(error)
                continue
            for controller_id, future in wanted.items():
                shown = found.get(controller_id)
                # What was read before a change was seen may be out of date: serve it, do not cache
                # it.
                if shown is not None and generation == self._generation:
                    self._keep(controller_id, shown)
                if not future.done():
                    future.set_result(shown)

    def _read(self, controller_ids: Sequence[str]) -> dict[str, Shown]:
        with self._unit_of_work(write=False) as unit:
            found = unit.controllers.find_programs(controller_ids)
        return {each.controller_id: _shown(each) for each in found}

    def _keep(self, controller_id: str, shown: Shown) -> None:
        while len(self._kept) >= MOST_KEPT:
            del self._kept[next(iter(self._kept))]
        self._kept[controller_id] = shown

    def _forget(self, controller_ids: object) -> None:
        self._generation += 1
        if isinstance(controller_ids, list):
            for controller_id in controller_ids:
                self._kept.pop(controller_id, None)


def _read_changed(unit: UnitOfWork, mark: int) -> list[str]:
    return unit.controllers.list_changed(after_mark=mark)


def _shown(stored: StoredProgram) -> Shown:
    program = stored.program
    if program is None or stored.is_retired:
        return Shown(stored.controller_id, stored.farm_id, stored.is_retired, None, b"")
    tag = f'"{program.version}-{program.digest}-json"'.encode("ascii")
    return Shown(
        controller_id=stored.controller_id,
        farm_id=stored.farm_id,
        is_retired=False,
        json=make_document(program.json_text.encode("ascii"), tag, JSON_TYPE, json_body),
        csv_text=program.csv_text.encode("ascii"),
    )


def make_document(
    text: bytes,
    tag: bytes,
    media_type: tuple[bytes, bytes],
    finish: Callable[[bytes, int], bytes] | None = None,
) -> Document:
    """A document with its headers; a time of the server is always ten digits long."""
    length = len(text if finish is None else finish(text, _TEN_DIGITS))
    lasting: Headers = ((b"etag", tag), *_COMMON_HEADERS)
    return Document(
        tag=tag,
        headers=(media_type, (b"content-length", b"%d" % length), *lasting),
        not_modified=lasting,
        text=text,
        finish=finish,
    )


def document_response(
    document: Document, if_none_match: str | None, *, server_epoch_s: int = 0
) -> Response:
    """A cached document as a route's answer, or 304 if the caller already has it."""
    held = None if if_none_match is None else if_none_match.encode("latin-1")
    if document.is_held(held):
        answer, headers = Response(status_code=304), document.not_modified
    else:
        answer, headers = Response(document.body(server_epoch_s)), document.headers
    answer.raw_headers = list(headers)
    return answer
