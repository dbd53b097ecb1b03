"""The API's own pages: what it is, its documentation, and its problem types.

They load nothing from any other host: the documentation's program is served from here, and the
content security policy would stop anything else. Swagger UI's own "validator" badge, which sends
the address of the API to its maker, is off.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from html import escape
from importlib.resources import files

from fastapi import APIRouter, FastAPI
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)
from starlette.staticfiles import StaticFiles

import service
from service.api.dependencies import TheService
from service.api.problem_types import PROBLEM_TYPES, ProblemType

router = APIRouter(include_in_schema=False)
SECURITY_CONTACT = "/.well-known/security.txt"
CONTACT_LASTS_DAYS = 182

_PAGE_POLICY = (
    "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:;"
    " object-src 'none'; base-uri 'none'; frame-ancestors 'none'"
)
_START_DOCS = """\
SwaggerUIBundle({
  url: "openapi.json",
  dom_id: "#documentation",
  deepLinking: true,
  validatorUrl: null,
  presets: [SwaggerUIBundle.presets.apis],
  layout: "BaseLayout",
});
"""


def serve_documentation_files(app: FastAPI) -> None:
    """Serve the documentation's program from the package that ships it."""
    folder = files("fastapi_offline") / "static"
    app.mount("/docs/assets", StaticFiles(directory=str(folder)), name="docs-assets")


@router.get(SECURITY_CONTACT)
async def get_security_contact(service: TheService) -> Response:
    """Where to report a security problem (RFC 9116); not found while the settings name nobody."""
    contact = service.settings.security_contact
    if not contact:
        raise HTTPException(404)
    lines = [
        f"Contact: {contact}",
        f"Expires: {contact_expires(service.clock.now()):%Y-%m-%dT%H:%M:%SZ}",
        "Preferred-Languages: en, es",
    ]
    if service.settings.public_url.startswith("https://"):
        lines.append(f"Canonical: {service.settings.public_url.rstrip('/')}{SECURITY_CONTACT}")
    return PlainTextResponse("\n".join(lines) + "\n", headers={"Cache-Control": "max-age=3600"})


def contact_expires(now: datetime) -> datetime:
    """When a contact answered with today is to be asked for again: a Monday in half a year.

    Whole weeks keep the answer the same for a week. RFC 9116, 2.5.5, wants less than a year.
    """
    monday = now.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return monday + timedelta(days=CONTACT_LASTS_DAYS - monday.weekday())


@router.get("/")
async def get_service(request: Request) -> Response:
    """What this is and where to go next; browsers are redirected to the pages."""
    if "text/html" in request.headers.get("accept", ""):
        return RedirectResponse("/farms", status_code=303, headers={"Vary": "Accept"})
    return JSONResponse(
        {
            "service": "rillwright",
            "version": service.__version__,
            "what": "Weather-driven drip irrigation plans for perennial fruit.",
            "blocks": "/v1/blocks",
            "status": "/v1/status",
            "docs": "/docs",
            "openapi": "/openapi.json",
            "problems": "/problems",
        },
        headers={"Vary": "Accept"},
    )


@router.get("/docs")
async def show_documentation() -> Response:
    """The documentation of the API, to read and to try."""
    return _page(
        "Rillwright API",
        '<div id="documentation"></div>\n<script src="docs/assets/swagger-ui-bundle.js"></script>\n'
        '<script src="docs/start.js"></script>',
        head='<link rel="stylesheet" href="docs/assets/swagger-ui.css">\n'
        '<link rel="icon" href="docs/assets/favicon.png">\n',
    )


@router.get("/docs/start.js")
async def start_documentation() -> Response:
    """The script that starts the documentation page, so that it needs no inline script."""
    return Response(_START_DOCS, media_type="text/javascript")


@router.get("/problems")
async def list_problem_types() -> Response:
    """All types of problems."""
    entries = "\n".join(
        f'<li><a href="problems/{kind.slug}">{escape(kind.title)}</a> ({kind.status})</li>'
        for kind in PROBLEM_TYPES
    )
    return _page(
        "Types of problems",
        "<h1>Types of problems</h1>\n<p>Errors of the API are problem documents (RFC 9457); their"
        f" <code>type</code> is one of these.</p>\n<ul>\n{entries}\n</ul>",
    )


@router.get("/problems/{slug}")
async def show_problem_type(slug: str) -> Response:
    """What a type of problem means and what to do about it."""
    kind = next((kind for kind in PROBLEM_TYPES if kind.slug == slug), None)
    if kind is None:
        raise HTTPException(404)
    return _page(kind.title, _problem_text(kind))


def _problem_text(kind: ProblemType) -> str:
    return (
        f"<h1>{escape(kind.title)}</h1>\n<p>Status {kind.status}.</p>\n"
        f"<p>{escape(kind.detail)}</p>\n<h2>What to do</h2>\n<p>{escape(kind.remedy)}</p>\n"
        '<p><a href="../problems">All types of problems</a></p>'
    )


def _page(title: str, body: str, *, head: str = "") -> Response:
    return HTMLResponse(
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n{head}</head>\n<body>\n{body}\n</body>\n</html>\n",
        headers={"Content-Security-Policy": _PAGE_POLICY},
    )
