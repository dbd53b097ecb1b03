"""One visit to a page: who comes, in which language, what the form said, and the answer.

All pages pass through :class:`Frame`: it finds the visitor, refuses forms that this service did not
show to them, runs the page in a worker thread, and turns errors of the service into pages that a
person can read. Pages never see the key.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache, partial
from typing import Final, Protocol, runtime_checkable
from urllib.parse import parse_qsl, urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import URL
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import Scope

from service.bootstrap import Service
from service.database.acting import acting_as
from service.errors import Conflict, Fault, InputInvalid, NotFound, RillwrightError, StorageFailed
from service.logs import get_logger
from service.operations.access.end_session import has_ended
from service.operations.access.manage_keys import Right
from service.operations.access.sign_in_links import find_holder
from service.operations.review.compare_counties import CountyWeather, Span
from service.pages.faults import NotedFaults
from service.pages.first_plans import FirstPlans
from service.pages.form_body import SentFile, read_form
from service.pages.holder import BY_LINK, Holder, holder_of, link_holder_of, only
from service.pages.look import font_path, style_path
from service.pages.sessions import LASTS, Seals, Session, new_form_cookie
from service.records.audit import ActorKind
from service.translations import LANGUAGES, Wording, wording

POLICY: Final = (
    "default-src 'none'; style-src 'self'; img-src 'self'; font-src 'self'; form-action 'self';"
    " base-uri 'none'; frame-ancestors 'none'; object-src 'none'; script-src 'none'"
)
_HEADERS: Final = {
    "Content-Security-Policy": POLICY,
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-store",
    "X-Frame-Options": "DENY",
    "Permissions-Policy": "geolocation=(), camera=(), microphone=()",
}
UNIT_SYSTEMS: Final = ("us", "si")
_SAID_ONCE: Final = frozenset({"done", "first", "language", "units"})
"""Query parameters that report what has just happened, or how the reader of a mail reads."""
_YEAR_S: Final = 365 * 86_400
_log = get_logger(__name__)


@runtime_checkable
class Visitor(Protocol):
    """A caller, as the application knows them."""

    @property
    def key_id(self) -> str:
        """Empty where the service is open to this machine."""
        ...

    @property
    def name(self) -> str:
        """Of the person or device."""
        ...

    @property
    def farm_id(self) -> str | None:
        """None: the whole region."""
        ...

    @property
    def rights(self) -> frozenset[str]:
        """What they may do."""
        ...


@dataclass(frozen=True, slots=True)
class Door:
    """The application's functions for identifying visitors."""

    find: Callable[[Scope], object]
    """A :class:`Visitor`, or something else for who is refused."""
    over_limit: Callable[[Scope], Mapping[str, str] | None]
    """Counts a request; the headers of the refusal where its address sends too many."""
    look: Callable[[], Awaitable[None]]
    """Makes sure that the known keys are current."""
    wait_for_link: Callable[[Scope, str], int | None]
    """Counts a link that is asked for to a mail address; the seconds to wait if it is too many."""
    county_weather: Callable[[Sequence[Span], date], CountyWeather]
    """The weather of all counties over some spans, as known on a day."""


class MayNot(RillwrightError):
    """The visitor is known, but their key does not open this."""


class NotSignedIn(RillwrightError):
    """The page is for people who sign in."""


@dataclass(slots=True)
class Visit:
    """What a page works with."""

    service: Service
    path: str
    params: Mapping[str, str]
    query: Mapping[str, str]
    form: Mapping[str, str]
    visitor: Holder | None
    language: str
    unit_choice: str
    """``us``, ``si``, or empty: as the farm reads numbers."""
    seals: Seals
    session_cookie: str
    """Empty for who came without one."""
    form_token: str
    count_link: Callable[[str], int | None]
    """Counts that a link to a mail address is asked for; the seconds to wait, None: it may be."""
    county_weather: Callable[[Sequence[Span], date], CountyWeather]
    """The weather of all counties over some spans, as known on a day."""
    here: str = "/farms"
    """The address of what the reader looks at, with what they chose in it."""
    unit_system: str = "us"
    files: Mapping[str, SentFile] = field(default_factory=dict)
    cookies: list[tuple[str, str, int]] = field(default_factory=list)
    """Name, value and seconds that it lasts, to be set by the answer."""
    first_plans: FirstPlans = field(default_factory=FirstPlans)
    afterwards: Callable[[], None] | None = None
    """What takes longer than a reader should wait: it is run once the answer is sent."""

    @property
    def words(self) -> Wording:
        """How the reader reads."""
        return wording(self.language, self.unit_choice or self.unit_system)

    def need(self, right: Right, farm_id: str | None = None) -> Holder:
        """The visitor; raises NotSignedIn, MayNot, or NotFound for what is another farm's."""
        visitor = self.visitor
        if visitor is None:
            raise NotSignedIn(self.here)
        if farm_id is not None and not visitor.sees(farm_id):
            raise NotFound("there is nothing under this address, or it is another farm's")
        if right not in visitor.rights:
            raise MayNot(right)
        return visitor

    def may(self, right: Right) -> bool:
        """Whether the visitor has a right."""
        return self.visitor is not None and right in self.visitor.rights

    @property
    def reporter(self) -> str:
        """The name recorded with the visitor's reports."""
        if self.visitor is None or not self.visitor.is_signed_in:
            return "page"
        return f"page {self.visitor.name}"[:60]

    def show(self, template: str, *, status: int = 200, **values: object) -> Response:
        """A page."""
        words = self.words
        text = (
            _environment()
            .get_template(template)
            .render(
                _=words.gettext,
                ngettext=words.ngettext,
                words=words,
                visit=self,
                style_path=style_path(),
                font_path=font_path(),
                noted=NotedFaults(),
                rights=Right,
                languages=LANGUAGES,
                **values,
            )
        )
        return HTMLResponse(text, status_code=status)


Page = Callable[[Visit], Response]


@dataclass(frozen=True, slots=True)
class Frame:
    """Wraps every page."""

    service: Service
    door: Door
    seals: Seals
    first_plans: FirstPlans = field(default_factory=FirstPlans)

    def endpoint(
        self, page: Page, *, is_by_secret: bool = False, takes_file: bool = False
    ) -> Callable[[Request], Awaitable[Response]]:
        """The page as an endpoint of the application.

        ``is_by_secret``: the address says all that there is to say, so that whoever sends to it
        needs no form of ours; what they send is not read.
        """

        async def answer(request: Request) -> Response:
            names = _CookieNames(self._is_secure(request))
            cookie = request.cookies.get(names.session, "")
            form_cookie = request.cookies.get(names.form, "")
            over = self.door.over_limit(request.scope)
            visitor = None
            if over is None:
                await self.door.look()
                visitor = await self._visitor(request, cookie)
            bound_to = cookie if cookie and visitor is not None else form_cookie
            fresh = ""
            if not bound_to and not is_by_secret:
                bound_to = fresh = new_form_cookie()
            visit = Visit(
                service=self.service,
                path=request.url.path,
                params={name: str(value) for name, value in request.path_params.items()},
                query=dict(request.query_params),
                form={},
                visitor=visitor,
                language=_language(request, names),
                unit_choice=_unit_choice(request, names),
                seals=self.seals,
                session_cookie=cookie,
                form_token=self.seals.form_token(bound_to),
                here=_here(request),
                first_plans=self.first_plans,
                count_link=partial(self.door.wait_for_link, request.scope),
                county_weather=self.door.county_weather,
            )
            # The links of a mail say how its reader reads.
            read_as(
                visit,
                language=visit.query.get("language", ""),
                units=visit.query.get("units", ""),
            )
            if over is not None:
                refused = visit.show("trouble.html", status=429, kind="too-often", faults=())
                refused.headers.update(over)
                return self._finish(refused, visit, names, fresh)
            if request.method == "POST" and not is_by_secret:
                sent = await read_form(request, takes_file=takes_file)
                visit.form, visit.files = sent.fields, sent.files
                if not self.seals.accepts_form(visit.form.get("token", ""), bound_to) or fresh:
                    return self._finish(_refused_form(visit), visit, names, fresh)
            with acting_as(BY_LINK if visitor is None else visitor.actor):
                response = await run_in_threadpool(_run, page, visit)
            return self._finish(response, visit, names, fresh)

        return answer

    async def _visitor(self, request: Request, cookie: str) -> Holder | None:
        now = self.service.clock.now()
        session = self.seals.read_session(cookie, now=now) if cookie else None
        if session is None:
            found = self.door.find(request.scope)
            if not isinstance(found, Visitor):
                return None
            return Holder(
                found.name,
                only(found.farm_id),
                found.rights,
                is_signed_in=bool(found.key_id),
                actor_kind=ActorKind.KEY if found.key_id else ActorKind.OPEN,
                actor_id=found.key_id,
            )
        return await run_in_threadpool(self._holder, session, cookie)

    def _holder(self, session: Session, cookie: str) -> Holder | None:
        """Looked up for every page, so that removing somebody takes effect with the next one."""
        if has_ended(cookie, unit_of_work=self.service.unit_of_work):
            return None
        if session.mail_address:
            reader = find_holder(session.mail_address, unit_of_work=self.service.unit_of_work)
            return None if reader is None else link_holder_of(reader)
        with self.service.unit_of_work(write=False) as unit:
            keys = unit.keys.list_keys()
        found = next((key for key in keys if key.key_id == session.key_id), None)
        if found is None or not found.is_live(self.service.clock.now()):
            return None
        return holder_of(found)

    def _is_secure(self, request: Request) -> bool:
        return request.url.scheme == "https" or self.service.settings.public_url.startswith(
            "https:"
        )

    def _finish(
        self, response: Response, visit: Visit, names: _CookieNames, fresh: str
    ) -> Response:
        for name, value in _HEADERS.items():
            response.headers.setdefault(name, value)
        if visit.afterwards is not None:
            response.background = BackgroundTask(visit.afterwards)
        if fresh:
            names.put(response, names.form, fresh, lasts=int(LASTS.total_seconds()))
        for kind, value, lasts in visit.cookies:
            names.put(response, getattr(names, kind), value, lasts=lasts)
        return response


class _CookieNames:
    """Cookie names by purpose; over https they carry the host-only prefix."""

    def __init__(self, is_secure: bool) -> None:
        self._is_secure = is_secure
        before = "__Host-rillwright" if is_secure else "rillwright"
        self.session = f"{before}-session"
        self.form = f"{before}-form"
        self.language = f"{before}-language"
        self.units = f"{before}-units"

    def put(self, response: Response, name: str, value: str, *, lasts: int) -> None:
        """Set a cookie; an empty one is taken away."""
        response.set_cookie(
            name,
            value,
            max_age=lasts if value else 0,
            path="/",
            secure=self._is_secure,
            httponly=True,
            samesite="lax",
        )


def redirect(path: str, **query: str) -> Response:
    """Go on to a page of this service after a form was taken."""
    return RedirectResponse(f"{path}?{urlencode(query)}" if query else path, status_code=303)


def local_path(text: str, default: str = "/farms") -> str:
    """A path of this service that a form names, never an address elsewhere."""
    is_local = text.startswith("/") and not text.startswith(("//", "/\\")) and "\\" not in text
    return text if is_local and text.isprintable() and len(text) < 300 else default


def _here(request: Request) -> str:
    """The address to return to after choosing a language; after a form, the page that shows it."""
    address = request.url
    if request.method != "GET":
        address = URL(request.headers.get("referer", ""))
        if address.netloc != request.url.netloc:
            return "/farms"
    query = [each for each in parse_qsl(address.query) if each[0] not in _SAID_ONCE]
    return local_path(f"{address.path}?{urlencode(query)}" if query else address.path)


def read_as(visit: Visit, *, language: str, units: str) -> None:
    """Keep how somebody reads, and answer so already; what is none of the choices is left."""
    if language in LANGUAGES:
        visit.language = language
        visit.cookies.append(("language", language, _YEAR_S))
    if units in UNIT_SYSTEMS:
        visit.unit_choice = units
        visit.cookies.append(("units", units, _YEAR_S))


def choose_reading(visit: Visit) -> Response:
    """Keep the language or the units that the reader chose."""
    read_as(visit, language=visit.form.get("language", ""), units=visit.form.get("units", ""))
    return redirect(local_path(visit.form.get("back", "")))


def _run(page: Page, visit: Visit) -> Response:
    try:
        return page(visit)
    except NotSignedIn:
        return redirect("/sign-in", next=visit.here)
    except MayNot:
        return visit.show("trouble.html", status=403, kind="may-not", faults=())
    except NotFound:
        return visit.show("trouble.html", status=404, kind="not-found", faults=())
    except InputInvalid as error:
        return visit.show("trouble.html", status=422, kind="invalid", faults=error.faults)
    except Conflict:
        return visit.show("trouble.html", status=409, kind="conflict", faults=())
    except StorageFailed as error:
        _log.error("a page cannot be shown", reason=str(error))
        return visit.show("trouble.html", status=503, kind="away", faults=())
    except Exception:
        _log.exception("a page failed")
        return visit.show("trouble.html", status=500, kind="failed", faults=())


def _refused_form(visit: Visit) -> Response:
    return visit.show("trouble.html", status=403, kind="old-form", faults=())


def _language(request: Request, names: _CookieNames) -> str:
    chosen = request.cookies.get(names.language, "")
    if chosen in LANGUAGES:
        return chosen
    return preferred_language(request.headers.get("accept-language", ""))


def preferred_language(accept_language: str) -> str:
    """The language of ours that a browser wants most (RFC 9110, 12.5.4); else the first.

    >>> [preferred_language(each) for each in ("de, es;q=0.5, en;q=0.4", "es;q=0")]
    ['es', 'en']
    """
    best, weight = LANGUAGES[0], 0.0
    for part in accept_language.lower().split(","):
        tag, _, quality = part.strip().partition(";")
        language = tag.strip().partition("-")[0]
        try:
            wanted = float(quality.strip().removeprefix("q=") or 1.0)
        except ValueError:
            wanted = 0.0
        if language in LANGUAGES and wanted > weight:
            best, weight = language, wanted
    return best


def _unit_choice(request: Request, names: _CookieNames) -> str:
    chosen = request.cookies.get(names.units, "")
    return chosen if chosen in UNIT_SYSTEMS else ""


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("service.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def faults_by_field(
    error: InputInvalid, names: Mapping[str, str] | None = None
) -> dict[str, Fault]:
    """The first fault of each field of a form; what belongs to none is under ``""``."""
    found: dict[str, Fault] = {}
    for fault in error.faults:
        found.setdefault(
            (names or {}).get(fault.where, fault.where if names is None else ""), fault
        )
    return found or {"": Fault("", "", error.message)}
