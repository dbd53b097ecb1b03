"""The web application: routes, problem documents and documentation put together."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

from service import __version__
from service.api.problems import handle_problems
from service.api.request_frame import RequestFrame
from service.api.routes import balances, blocks, pages, plans
from service.api.schemas.problems import ProblemOut
from service.bootstrap import Service

_DESCRIPTION = """\
Weather-driven drip irrigation plans for perennial fruit: how long each block should run on the
next day, in pulses that do not drain below the roots, and why.

- **Units** stand in the names: `_mm` depth over the block area, `_min` minutes, `_l` litres, `_c`
  degrees Celsius, `_m2` square metres. A value that is not known is `null`.
- **Days** are local days of the block, `YYYY-MM-DD`; instants are RFC 3339 with a numeric offset.
- **Errors** are problem documents (RFC 9457, `application/problem+json`); their types are explained
  under [/problems](/problems). Each answer carries its id in `X-Request-Id`.
- **Versions**: within `/v1` fields, words of enumerations and problem types are only added. Ignore
  those that you do not know.
- `HEAD` works wherever `GET` does.
"""
_TAGS: list[dict[str, Any]] = [
    {"name": "blocks", "description": "What is irrigated: one valve's worth of plants."},
    {"name": "plans", "description": "What to run on a day, and why."},
    {"name": "balances", "description": "The water balance behind the plans."},
]


def create_app(service: Service) -> FastAPI:
    """The application on a service whose database is ready."""
    app = _Application(
        title="Rillwright",
        version=__version__,
        summary="From weather to irrigation pulses and minutes.",
        description=_DESCRIPTION,
        openapi_tags=_TAGS,
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,  # a controller may not follow redirects
    )
    app.state.service = service
    for router in (blocks.router, plans.router, balances.router):
        app.include_router(router, prefix="/v1")
    app.include_router(pages.router)
    pages.serve_documentation_files(app)
    handle_problems(app)
    app.add_middleware(RequestFrame)
    return app


class _Application(FastAPI):
    def openapi(self) -> dict[str, Any]:
        """The OpenAPI document, with the schema that all problem answers refer to."""
        document = super().openapi()
        schemas = document["components"]["schemas"]
        if "ProblemOut" not in schemas:
            own = ProblemOut.model_json_schema(ref_template="#/components/schemas/{model}")
            schemas.update(own.pop("$defs"))
            schemas["ProblemOut"] = own
            document["components"]["schemas"] = dict(sorted(schemas.items()))
        return document
