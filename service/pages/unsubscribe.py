"""The page behind a mail's "stop these mails", and the one click of mail programs (RFC 8058).

Looking changes nothing, as scanners follow links. Sending stops the mails at once, with no cookie,
token of a form or sign-in: the address is the secret. The body sent by a mail program is ignored,
because the address says it all.
"""

from __future__ import annotations

from starlette.responses import Response

from service.errors import NotFound
from service.operations.access.unsubscribe import find_subscription, unsubscribe
from service.pages.visit import Visit


def show_unsubscribe(visit: Visit) -> Response:
    """What would be stopped, and a button."""
    return _answer(visit, is_asked=False)


def stop_mails(visit: Visit) -> Response:
    """Stop them, and say so."""
    return _answer(visit, is_asked=True)


def _answer(visit: Visit, *, is_asked: bool) -> Response:
    act = unsubscribe if is_asked else find_subscription
    try:
        found = act(visit.params["token"], unit_of_work=visit.service.unit_of_work)
    except NotFound:
        answer = visit.show("unsubscribe.html", status=404, found=None)
    else:
        visit.language = found.language
        answer = visit.show("unsubscribe.html", found=found)
    answer.headers["Referrer-Policy"] = "no-referrer"
    return answer
