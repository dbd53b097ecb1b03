"""Sends events to the systems that want them: signed, bounded, and to public addresses only.

Each letter is one POST, signed by Standard Webhooks with every secret that is in force, and sent
again as the same bytes under the same id. A receiver's name is looked up for each connection, all
of its addresses are checked, and the connection is made to one of those that were: a name that
answers differently the next time gains nothing. Redirects are not followed, proxies of the machine
are not used, an attempt has a time in all, and of an answer only the beginning is kept.
"""

from __future__ import annotations

import asyncio
import ipaddress
import socket
import ssl
from collections.abc import Awaitable, Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache

import certifi
import httpcore
from standardwebhooks.webhooks import Webhook

from service import __version__
from service.errors import InputInvalid
from service.ports import Clock
from service.records.events import Attempt, Letter, Parcel
from service.records.receiver_address import (
    Address,
    Network,
    ReceiverUrl,
    checked_url,
    may_receive,
)
from service.records.retry_after import retry_after_wait

MEDIA_TYPE = "application/cloudevents+json; charset=utf-8"
LARGEST_ANSWER_BYTES = 16_000
"""An answer that is longer is not read on, and its connection is closed."""
LONGEST_EXCERPT = 200
MOST_CONNECTIONS = 64
LookUp = Callable[[str, int], Awaitable[Sequence[str]]]
SocketOption = (
    tuple[int, int, int] | tuple[int, int, bytes | bytearray] | tuple[int, int, None, int]
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SendLimits:
    """How long an attempt may take, s."""

    connect_s: float = 5.0
    read_s: float = 10.0
    total_s: float = 15.0
    """From the look-up of the name to the end of the answer."""


class AddressRefused(Exception):
    """A name stands for an address that events may not go to."""


async def look_up(host: str, port: int) -> Sequence[str]:
    """Every address that a name stands for now; raises OSError."""
    loop = asyncio.get_running_loop()
    found = await loop.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(each[4][0]) for each in found))


class WebhookSender:
    """Sends the parcels of several receivers side by side, the letters of each in their order."""

    def __init__(
        self,
        *,
        clock: Clock,
        networks: Sequence[Network] = (),
        limits: SendLimits | None = None,
        look_up: LookUp = look_up,
    ) -> None:
        """``networks`` are addresses that are not public and may receive events all the same."""
        self._clock = clock
        self._networks = tuple(networks)
        self._limits = limits or SendLimits()
        self._look_up = look_up

    def __call__(
        self, parcels: Sequence[Parcel], *, until: datetime
    ) -> Sequence[Sequence[Attempt]]:
        """The attempts at each parcel's letters, up to the first that failed or to an instant."""
        return asyncio.run(self._send_all(parcels, until))

    async def _send_all(
        self, parcels: Sequence[Parcel], until: datetime
    ) -> Sequence[Sequence[Attempt]]:
        async with self._pool(is_plain=False) as tls, self._pool(is_plain=True) as plain:
            return await asyncio.gather(
                *(self._send_parcel(each, until, tls=tls, plain=plain) for each in parcels)
            )

    def _pool(self, *, is_plain: bool) -> httpcore.AsyncConnectionPool:
        """Connections of one scheme, kept for the letters that follow."""
        return httpcore.AsyncConnectionPool(
            ssl_context=_tls(),
            max_connections=MOST_CONNECTIONS,
            network_backend=_CheckedNetwork(
                self._look_up, networks=self._networks, is_plain=is_plain
            ),
        )

    async def _send_parcel(
        self,
        parcel: Parcel,
        until: datetime,
        *,
        tls: httpcore.AsyncConnectionPool,
        plain: httpcore.AsyncConnectionPool,
    ) -> Sequence[Attempt]:
        attempts: list[Attempt] = []
        try:
            url = checked_url(parcel.url, self._networks)
        except InputInvalid as error:
            return [Attempt(at=self._clock.now(), status=None, reply=str(error))]
        signers = [Webhook(secret) for secret in parcel.secrets]
        for letter in parcel.letters:
            at = self._clock.now()
            if at >= until:
                break
            headers = [("host", _authority(url)), *_headers(letter, signers, at)]
            pool = plain if url.is_plain else tls
            attempts.append(await self._send_letter(pool, url, headers, letter.body, at))
            if not attempts[-1].is_delivered:
                break
        return attempts

    async def _send_letter(
        self,
        pool: httpcore.AsyncConnectionPool,
        url: ReceiverUrl,
        headers: list[tuple[str, str]],
        body: bytes,
        at: datetime,
    ) -> Attempt:
        limits = self._limits
        timeouts = {
            "connect": limits.connect_s, "read": limits.read_s, "write": limits.read_s,
            "pool": limits.total_s,
        }  # fmt: skip
        request = httpcore.URL(
            scheme="http" if url.is_plain else "https",
            host=url.host,
            port=url.port,
            target=url.target,
        )
        try:
            async with (
                asyncio.timeout(limits.total_s),
                pool.stream(
                    "POST", request, headers=headers, content=body, extensions={"timeout": timeouts}
                ) as response,
            ):
                return await self._answer(response, at)
        except AddressRefused as refusal:
            reply = str(refusal)
        except (TimeoutError, httpcore.TimeoutException):
            reply = "no answer in time"
        except (httpcore.NetworkError, httpcore.ProtocolError, OSError) as error:
            reply = f"no connection: {type(error).__name__}"
        return Attempt(at=at, status=None, reply=reply)

    async def _answer(self, response: httpcore.Response, at: datetime) -> Attempt:
        chunks: list[bytes] = []
        size = 0
        async for chunk in response.aiter_stream():
            chunks.append(chunk)
            size += len(chunk)
            if size > LARGEST_ANSWER_BYTES:
                break
        reply = _excerpt(b"".join(chunks))
        if 300 <= response.status < 400:
            reply = "redirects are not followed"
        asked = next(
            (value for name, value in response.headers if name.lower() == b"retry-after"), b""
        )
        return Attempt(
            at=at,
            status=response.status,
            reply=reply,
            wait=retry_after_wait(asked.decode("latin-1"), self._clock.now()),
        )


class _CheckedNetwork(httpcore.AsyncNetworkBackend):
    """Connects to addresses that were looked up and checked, and to nothing else."""

    def __init__(self, look_up: LookUp, *, networks: Sequence[Network], is_plain: bool) -> None:
        self._look_up = look_up
        self._networks = networks
        self._is_plain = is_plain
        self._inner = httpcore.AnyIOBackend()

    async def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[SocketOption] | None = None,
    ) -> httpcore.AsyncNetworkStream:
        """A connection to the first address that takes one; raises AddressRefused if any of the
        name's addresses may not receive events.
        """
        addresses = [ipaddress.ip_address(each) for each in await self._look_up(host, port)]
        if not addresses or not all(self._may_receive(each, port) for each in addresses):
            raise AddressRefused("the address is not one that events may be sent to")
        trouble: Exception | None = None
        for address in addresses:
            try:
                return await self._inner.connect_tcp(
                    str(address), port, timeout, local_address, socket_options
                )
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as error:
                trouble = error
        raise httpcore.ConnectError("none of its addresses takes a connection") from trouble

    def _may_receive(self, address: Address, port: int) -> bool:
        return may_receive(address, port=port, is_plain=self._is_plain, networks=self._networks)

    async def connect_unix_socket(
        self,
        path: str,
        timeout: float | None = None,
        socket_options: Iterable[SocketOption] | None = None,
    ) -> httpcore.AsyncNetworkStream:
        """Never: a socket of this machine is no receiver."""
        raise AddressRefused("events are not sent to sockets of this machine")

    async def sleep(self, seconds: float) -> None:
        """Wait; the pool asks for it between its own tries."""
        await self._inner.sleep(seconds)


@cache
def _tls() -> ssl.SSLContext:
    """Certificates of the public authorities that come with the service."""
    return ssl.create_default_context(cafile=certifi.where())


def _authority(url: ReceiverUrl) -> str:
    host = f"[{url.host}]" if ":" in url.host else url.host
    return host if url.port == (80 if url.is_plain else 443) else f"{host}:{url.port}"


def _headers(letter: Letter, signers: Sequence[Webhook], at: datetime) -> list[tuple[str, str]]:
    """What a receiver reads before the body; Standard Webhooks, "Webhook Headers"."""
    text = letter.body.decode()
    signatures = [
        signer.sign(msg_id=letter.event_id, timestamp=at.astimezone(UTC), data=text)
        for signer in signers
    ]
    return [
        ("content-type", MEDIA_TYPE),
        ("content-length", str(len(letter.body))),
        ("user-agent", f"rillwright/{__version__}"),
        ("webhook-id", letter.event_id),
        ("webhook-timestamp", str(int(at.timestamp()))),
        ("webhook-signature", " ".join(signatures)),
    ]


def _excerpt(raw: bytes) -> str:
    """The beginning of an answer, fit for a page and a log line."""
    text = raw[: 4 * LONGEST_EXCERPT].decode("utf-8", "replace")
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(plain.split())[:LONGEST_EXCERPT]
