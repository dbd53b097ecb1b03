"""Composes a letter into the bytes of one mail to one person.

First the instruction, as plain text and as HTML that needs no image; then, as extras, a small chart
and a calendar. A mail stays under ``LARGEST_BYTES``, above which some clients show only its
beginning: chart and calendar go first, then the detail, then blocks, and the mail says so.

No user input reaches a header or the HTML unescaped: names are cleaned of control characters,
addresses are checked and built from their parts, the templates escape everything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from email.headerregistry import Address
from email.message import EmailMessage, MIMEPart
from email.policy import SMTP
from email.utils import format_datetime
from typing import Any, cast
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from service.delivery.evening_words import EveningWords, evening_words
from service.delivery.letter_chart import chart_png
from service.delivery.plain_text import clean
from service.delivery.pulse_calendar import pulse_calendar
from service.delivery.week_words import WeekWords, bulletin_words, weekly_words
from service.ports import ComposeMail
from service.records.letters import (
    SIGN_IN_LINK,
    TIMER_LINK,
    AnyLetter,
    BulletinLetter,
    EveningLetter,
    Letter,
    MailStamp,
    SignInLetter,
    WeeklyLetter,
)
from service.records.mail import Person
from service.translations import Wording, wording

LARGEST_BYTES = 100_000
"""Some clients clip a message a little above this (102 kB, from memory)."""
LARGEST_CHART_BYTES = 60_000
MOST_PULSES_IN_CALENDAR = 150
_FEWER_BLOCKS = (400, 200, 120, 80, 50, 30, 15, 6)
_LIST_OF = {EveningLetter: "evening", WeeklyLetter: "weekly", BulletinLetter: "weekly"}


@dataclass(frozen=True, slots=True, kw_only=True)
class MailIdentity:
    """The sender of the mails; set by the operator, never from user input."""

    sender_address: str
    sender_name: str
    domain: str
    """Behind the ``@`` of message ids and calendar uids."""
    reply_address: str
    public_url: str
    """Public address of the pages, without a trailing slash; empty: none."""


@dataclass(frozen=True, slots=True)
class _Detail:
    """How much of a letter goes into the mail."""

    has_chart: bool = True
    has_calendar: bool = True
    is_detailed: bool = True
    most_blocks: int | None = None
    """Of blocks, and of openings."""


def make_composer(identity: MailIdentity) -> ComposeMail:
    """A composer of mails for one operator."""

    def write(letter: AnyLetter, reader: Person, stamp: MailStamp) -> bytes:
        return compose(letter, reader, stamp, identity=identity)

    return write


def compose(
    letter: AnyLetter, reader: Person, stamp: MailStamp, *, identity: MailIdentity
) -> bytes:
    """The bytes of a mail, with CRLF line ends."""
    words = wording(reader.language, reader.unit_system)
    if isinstance(letter, SignInLetter):
        return _sign_in_mail(letter, reader, stamp, words, identity=identity)
    content = _worded(letter, words)
    chart = chart_png(letter, words)
    if chart is not None and len(chart) > LARGEST_CHART_BYTES:
        chart = None
    calendar = b""
    if isinstance(letter, EveningLetter) and 0 < _pulse_count(letter) <= MOST_PULSES_IN_CALENDAR:
        calendar = pulse_calendar(letter, words, domain=identity.domain)
    headers = {
        **_headers(content.subject, reader, stamp, identity),
        **_list_headers(letter, stamp, identity),
    }
    data = b""
    for detail in _details():
        shown_chart = chart if detail.has_chart else None
        shown_calendar = calendar if detail.has_calendar else b""
        cid = f"chart.{stamp.message_id}" if shown_chart is not None else ""
        html, plain = _render(
            content, letter, words, stamp, identity=identity, detail=detail, chart_cid=cid
        )
        # Base64 takes a third more; text in quoted-printable never takes less than it is long.
        least_bytes = (
            len(html) + len(plain) + len(shown_calendar) + len(shown_chart or b"") * 4 // 3
        )
        if least_bytes >= LARGEST_BYTES and detail.most_blocks != _FEWER_BLOCKS[-1]:
            continue
        message = _message(headers, html, plain, chart=shown_chart, cid=cid)
        if isinstance(letter, EveningLetter) and shown_calendar:
            message.add_attachment(
                shown_calendar.decode(),
                subtype="calendar",
                cte="quoted-printable",
                filename=f"{letter.farm_id}-{letter.day.isoformat()}.ics",
            )
        message["Content-Language"] = reader.language
        data = message.as_bytes(policy=SMTP)
        if len(data) < LARGEST_BYTES:
            break
    return data


def _sign_in_mail(
    letter: SignInLetter,
    reader: Person,
    stamp: MailStamp,
    words: Wording,
    *,
    identity: MailIdentity,
) -> bytes:
    """A sign-in link; it belongs to no list, so nobody can unsubscribe from it by mistake."""
    subject = words.gettext("Your link to sign in")
    link = sign_in_url(identity, stamp)
    context = {
        "subject": subject,
        "link": link,
        "lasts": words.minutes(letter.lasts.total_seconds() / 60),
        "language": words.language,
        "_": words.gettext,
    }
    message = _message(
        _headers(subject, reader, stamp, identity),
        _TEMPLATES.get_template("sign_in.html").render(context),
        _TEMPLATES.get_template("sign_in.txt").render(context),
        chart=None,
        cid="",
    )
    message["Content-Language"] = reader.language
    return message.as_bytes(policy=SMTP)


def html_of(letter: Letter, reader: Person, stamp: MailStamp, *, identity: MailIdentity) -> str:
    """The HTML part alone, without the chart, to look at in a browser."""
    words = wording(reader.language, reader.unit_system)
    return _render(
        _worded(letter, words), letter, words, stamp,
        identity=identity, detail=_Detail(), chart_cid="",
    )[0]  # fmt: skip


def _details() -> Iterator[_Detail]:
    """All of it first, then less and less."""
    yield _Detail()
    yield _Detail(has_calendar=False)
    yield _Detail(has_calendar=False, has_chart=False)
    yield _Detail(has_calendar=False, has_chart=False, is_detailed=False)
    for count in _FEWER_BLOCKS:
        yield _Detail(has_calendar=False, has_chart=False, is_detailed=False, most_blocks=count)


def _message(
    headers: Mapping[str, Any], html: str, plain: str, *, chart: bytes | None, cid: str
) -> EmailMessage:
    message = EmailMessage(policy=SMTP)
    for name, value in headers.items():
        message[name] = value
    message.set_content(plain, cte="quoted-printable")
    message.add_alternative(html, subtype="html", cte="quoted-printable")
    if chart is not None:
        body = cast("list[MIMEPart]", message.get_payload())[1]
        body.add_related(
            chart,
            maintype="image",
            subtype="png",
            cid=f"<{cid}>",
            disposition="inline",
            filename="plan.png",
        )
    return message


def _pulse_count(letter: EveningLetter) -> int:
    return sum(len(block.pulses) for block in letter.blocks)


def _headers(
    subject: str, reader: Person, stamp: MailStamp, identity: MailIdentity
) -> Mapping[str, Any]:
    headers: dict[str, Any] = {
        "From": _address(identity.sender_name, identity.sender_address),
        "To": _address(reader.name, reader.mail_address),
        "Subject": subject,
        "Date": format_datetime(stamp.written_at),
        "Message-ID": f"<{stamp.message_id}>",
        "Auto-Submitted": "auto-generated",
    }
    if identity.reply_address:
        headers["Reply-To"] = _address(identity.sender_name, identity.reply_address)
    return headers


def _list_headers(letter: Letter, stamp: MailStamp, identity: MailIdentity) -> Mapping[str, Any]:
    headers = {"List-Id": f"<{_LIST_OF[type(letter)]}.{identity.domain}>"}
    by_mail = f"<mailto:{identity.reply_address or identity.sender_address}" + (
        f"?subject={quote('unsubscribe ' + stamp.link_token)}>"
    )
    url = unsubscribe_url(identity, stamp)
    if url.startswith("https://"):
        headers["List-Unsubscribe"] = f"<{url}>, {by_mail}"
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    else:
        headers["List-Unsubscribe"] = by_mail
    return headers


def sign_in_url(identity: MailIdentity, stamp: MailStamp) -> str:
    """The sign-in address, built only from the operator's settings, whatever host the request
    named.

    Raises ValueError if there are no pages.
    """
    if not identity.public_url:
        raise ValueError("a link to sign in needs RILLWRIGHT_PUBLIC_URL")
    return f"{identity.public_url}{SIGN_IN_LINK}/{stamp.link_token}"


def unsubscribe_url(identity: MailIdentity, stamp: MailStamp) -> str:
    """Where a reader unsubscribes; a mail address if there are no pages."""
    if identity.public_url:
        return f"{identity.public_url}/u/{stamp.link_token}"
    return (
        f"mailto:{identity.reply_address or identity.sender_address}"
        f"?subject=unsubscribe%20{stamp.link_token}"
    )


def _address(name: str, address: str) -> Address:
    """One address; refuses anything that could be read as two."""
    parsed = Address(addr_spec=address)  # ValueError for anything beyond one address
    if not address.isascii() or any(character.isspace() for character in address):
        raise ValueError(f"{clean(address)!r} is not one mail address in ASCII")
    return Address(display_name=clean(name), username=parsed.username, domain=parsed.domain)


# --- the parts ---------------------------------------------------------------------------------


def _worded(letter: Letter, words: Wording) -> EveningWords | WeekWords:
    match letter:
        case EveningLetter():
            return evening_words(letter, words)
        case WeeklyLetter():
            return weekly_words(letter, words)
        case BulletinLetter():
            return bulletin_words(letter, words)


def _render(
    content: EveningWords | WeekWords,
    letter: Letter,
    words: Wording,
    stamp: MailStamp,
    *,
    identity: MailIdentity,
    detail: _Detail,
    chart_cid: str,
) -> tuple[str, str]:
    """HTML and plain text of one letter."""
    is_evening = isinstance(content, EveningWords)
    rows = content.most_urgent_first if isinstance(content, EveningWords) else content.rows
    openings = content.openings if isinstance(content, EveningWords) else ()
    kept, opened = rows[: detail.most_blocks], openings[: detail.most_blocks]
    context = {
        "content": content,
        ("blocks" if is_evening else "rows"): kept,
        "left_out": _left_out(len(rows) - len(kept), words),
        "openings": opened,
        "openings_left_out": _openings_left_out(len(openings) - len(opened), words),
        "detailed": detail.is_detailed,
        "language": words.language,
        "chart_cid": chart_cid,
        "unsubscribe_url": unsubscribe_url(identity, stamp),
        "page_url": _page_url(letter, identity, words),
        "timer_url": _timer_url(identity, stamp),
        "_": words.gettext,
    }
    name = "evening" if is_evening else "week"
    return (
        _TEMPLATES.get_template(f"{name}.html").render(context),
        _TEMPLATES.get_template(f"{name}.txt").render(context),
    )


def _page_url(letter: Letter, identity: MailIdentity, words: Wording) -> str:
    """The page of the same day, which opens in the language and units of the mail."""
    if not identity.public_url or not isinstance(letter, EveningLetter):
        return ""
    reading = f"language={words.language}&units={words.unit_system}"
    return f"{identity.public_url}/farms/{letter.farm_id}/tomorrow?date={letter.day}&{reading}"


def _timer_url(identity: MailIdentity, stamp: MailStamp) -> str:
    """Where a reader says that a timer was set, but for the program; empty without pages."""
    if not identity.public_url or not stamp.timer_token:
        return ""
    return f"{identity.public_url}{TIMER_LINK}/{stamp.timer_token}/"


def _left_out(count: int, words: Wording) -> str:
    if count == 0:
        return ""
    return words.ngettext(
        "{count} more block does not fit in this mail; see the page.",
        "{count} more blocks do not fit in this mail; see the page.",
        count,
    )


def _openings_left_out(count: int, words: Wording) -> str:
    if count == 0:
        return ""
    return words.ngettext(
        "{count} more opening does not fit in this mail; see the page.",
        "{count} more openings do not fit in this mail; see the page.",
        count,
    )


# Escapes everything but the plain text parts: no mail program reads markup in those, and a reader
# would see "&amp;" where a farm's name has "&". What is not a file name is escaped as well.
_TEMPLATES = Environment(
    loader=PackageLoader("service.delivery"),
    autoescape=select_autoescape(
        enabled_extensions=("html",),
        disabled_extensions=("txt",),
        default_for_string=True,
        default=True,
    ),
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    keep_trailing_newline=False,
)
