"""Signing in and out: with a key, or with a link that comes by mail.

The link's page changes nothing until its button is pressed, since scanners of mail follow links.
"""

from __future__ import annotations

import hashlib
from typing import Final

from starlette.responses import Response

from service.delivery.plain_text import clean
from service.errors import InputInvalid, NotFound
from service.operations.access.end_session import end_session
from service.operations.access.manage_keys import Right
from service.operations.access.sign_in_links import LINK_LASTS, ask_for_link, find_link, use_link
from service.pages.holder import Holder, holder_of, link_holder_of
from service.pages.sessions import LASTS
from service.pages.visit import Visit, local_path, read_as, redirect

LONGEST_ADDRESS: Final = 254
"""RFC 5321 4.5.3.1.3, without the angle brackets."""
_ONE_MINUTE_S: Final = 60


def sign_in(visit: Visit) -> Response:
    """Start a session for a key, or say that the key does not work."""
    token = visit.form.get("key", "")
    if not token:
        return _form(visit, is_refused=bool(visit.form))
    digest = hashlib.sha256(token.encode()).hexdigest()
    now = visit.service.clock.now()
    with visit.service.unit_of_work(write=False) as unit:
        # The digest of a random 190-bit key reveals nothing, so comparing it leaks nothing.
        found = next((key for key in unit.keys.list_keys() if key.sha256 == digest), None)
    if found is None or not found.is_live(now):
        return _form(visit, status=403, is_refused=True)
    _begin(visit, visit.seals.session_cookie(found.key_id, now=now))
    return redirect(local_path(_next_path(visit), _home(holder_of(found))))


def ask_by_mail(visit: Visit) -> Response:
    """Request a link for an address; the answer is the same whether the address is known or not."""
    if not has_links(visit):
        raise NotFound("there is no signing in by mail here")
    asked = visit.form.get("mail", "")
    if len(asked) > LONGEST_ADDRESS:
        return _form(visit, status=422, mail=asked[:LONGEST_ADDRESS], mail_fault="address")
    wait_s = visit.count_link(asked)
    if wait_s is not None:
        answer = _form(
            visit, status=429, mail=asked, mail_fault="wait", wait_min=-(-wait_s // _ONE_MINUTE_S)
        )
        answer.headers["Retry-After"] = str(wait_s)
        return answer
    try:
        ask_for_link(asked, unit_of_work=visit.service.unit_of_work, clock=visit.service.clock)
    except InputInvalid:
        return _form(visit, status=422, mail=asked, mail_fault="address")
    return redirect("/sign-in", asked="1")


def show_link(visit: Visit) -> Response:
    """Show one button; the link is not used yet."""
    service = visit.service
    try:
        holder = find_link(
            visit.params["token"], unit_of_work=service.unit_of_work, clock=service.clock
        )
    except NotFound:
        return _dead_link(visit)
    visit.language = holder.language
    return _secret(visit.show("sign_in_link.html", holder=holder, name=clean(holder.name)))


def follow_link(visit: Visit) -> Response:
    """Sign in with a link, which uses it up."""
    service = visit.service
    try:
        holder = use_link(
            visit.params["token"], unit_of_work=service.unit_of_work, clock=service.clock
        )
    except NotFound:
        return _dead_link(visit)
    _begin(visit, visit.seals.mail_session_cookie(holder.mail_address, now=service.clock.now()))
    read_as(visit, language=holder.language, units=holder.unit_system)
    return _secret(redirect(_home(link_holder_of(holder))))


def sign_out(visit: Visit) -> Response:
    """End the session, in this browser and wherever else its cookie may be."""
    service, cookie = visit.service, visit.session_cookie
    session = visit.seals.read_session(cookie, now=service.clock.now()) if cookie else None
    if session is not None:
        end_session(
            cookie,
            ends_at=session.ends_at,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    visit.cookies.append(("session", "", 0))
    return redirect("/sign-in")


def has_links(visit: Visit) -> bool:
    """Whether mail is sent, and where its links would lead."""
    settings = visit.service.settings
    return bool(settings.mail_host and settings.public_url)


def _form(
    visit: Visit,
    *,
    status: int = 200,
    is_refused: bool = False,
    mail: str = "",
    mail_fault: str = "",
    wait_min: int = 0,
) -> Response:
    return visit.show(
        "sign_in.html",
        status=status,
        back=local_path(_next_path(visit), ""),
        is_refused=is_refused,
        has_links=has_links(visit),
        is_asked=visit.query.get("asked") == "1",
        mail=mail,
        mail_fault=mail_fault,
        wait_min=wait_min,
        lasts=visit.words.minutes(LINK_LASTS.total_seconds() / _ONE_MINUTE_S),
    )


def _next_path(visit: Visit) -> str:
    return visit.form.get("next", "") or visit.query.get("next", "")


def _begin(visit: Visit, cookie: str) -> None:
    visit.cookies.append(("session", cookie, int(LASTS.total_seconds())))


def _home(holder: Holder) -> str:
    """The start page: their farms, or the counties if they see no farm."""
    return "/farms" if Right.PLAN_READ in holder.rights else "/counties"


def _dead_link(visit: Visit) -> Response:
    return _secret(visit.show("sign_in_link.html", status=404, holder=None))


def _secret(response: Response) -> Response:
    """The page's address is a secret, so no referrer is sent to other pages."""
    response.headers["Referrer-Policy"] = "no-referrer"
    return response
