"""The page behind "I set it" in a mail: one program, and one button that notes it.

Looking changes nothing, as scanners follow links; the button's form is accepted only from a browser
that was shown it.
"""

from __future__ import annotations

from starlette.responses import Response

from service.delivery.plain_text import clean
from service.errors import NotFound
from service.operations.timers.timer_links import (
    LinkedProgram,
    Standing,
    find_linked_program,
    set_linked_program,
)
from service.pages.timers import program_card, runs_today
from service.pages.visit import Visit


def show_link(visit: Visit) -> Response:
    """Show the program and one button."""
    try:
        found = find_linked_program(
            visit.params["token"],
            visit.params["program_id"],
            unit_of_work=visit.service.unit_of_work,
            clock=visit.service.clock,
        )
    except NotFound:
        return _dead_link(visit)
    return _answer(visit, found)


def follow_link(visit: Visit) -> Response:
    """Note that the program was set, once or twice alike."""
    try:
        found = set_linked_program(
            visit.params["token"],
            visit.params["program_id"],
            runs_today=runs_today(visit),
            unit_of_work=visit.service.unit_of_work,
            replanning=visit.service.replanning,
        )
    except NotFound:
        return _dead_link(visit)
    return _answer(visit, found)


def _answer(visit: Visit, found: LinkedProgram) -> Response:
    visit.language, visit.unit_system = found.reader.language, found.reader.unit_system
    is_gone = found.standing is Standing.REPLACED
    return _secret(
        visit.show(
            "timer_link.html",
            status=410 if is_gone else 200,
            found=found,
            name=clean(found.block_name),
            program=program_card(found.program, visit.words),
            standing=found.standing.name,
        )
    )


def _dead_link(visit: Visit) -> Response:
    return _secret(visit.show("timer_link.html", status=404, found=None))


def _secret(response: Response) -> Response:
    """The page's address is a secret, so no referrer is sent to other pages."""
    response.headers["Referrer-Policy"] = "no-referrer"
    return response
