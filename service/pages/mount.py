"""Puts the pages into the web application."""

from __future__ import annotations

from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import Response

from service.bootstrap import Service
from service.errors import Fault, SettingsInvalid
from service.pages import block, counties, plans, setup, weather
from service.pages.sessions import Seals
from service.pages.visit import (
    Door,
    Frame,
    Page,
    choose_reading,
    icon,
    sign_in,
    sign_out,
    style,
    style_path,
)

SHORTEST_SECRET = 32
PAGES: tuple[tuple[str, str, Page], ...] = (
    ("GET", "/sign-in", sign_in),
    ("POST", "/sign-in", sign_in),
    ("POST", "/sign-out", sign_out),
    ("POST", "/reading", choose_reading),
    ("GET", "/farms", plans.show_farms),
    ("GET", "/farms/new", setup.new_farm),
    ("POST", "/farms/new", setup.new_farm),
    ("GET", "/farms/{farm_id}/tomorrow", plans.show_tomorrow),
    ("GET", "/farms/{farm_id}/sheet", plans.show_sheet),
    ("GET", "/farms/{farm_id}/weather", weather.show_weather),
    ("GET", "/farms/{farm_id}/setup", setup.show_setup),
    ("GET", "/farms/{farm_id}/supplies/new", setup.new_supply),
    ("POST", "/farms/{farm_id}/supplies/new", setup.new_supply),
    ("GET", "/farms/{farm_id}/blocks/new", setup.new_block),
    ("POST", "/farms/{farm_id}/blocks/new", setup.new_block),
    ("GET", "/blocks/{block_id}", block.show_block),
    ("POST", "/blocks/{block_id}/rain", block.enter_rain),
    ("POST", "/blocks/{block_id}/runs", block.enter_run),
    ("POST", "/blocks/{block_id}/pauses", block.enter_pause),
    ("POST", "/blocks/{block_id}/pauses/{pause_id}/cancel", block.take_back_pause),
    ("GET", "/counties", counties.show_counties),
    ("GET", "/counties.csv", counties.counties_csv),
)


def mount_pages(app: FastAPI, service: Service, door: Door) -> None:
    """Add every page and the style sheet."""
    secret = service.settings.page_secret.get_secret_value()
    if 0 < len(secret) < SHORTEST_SECRET:
        raise SettingsInvalid(
            "the settings cannot be used",
            [
                Fault(
                    "RILLWRIGHT_PAGE_SECRET",
                    f"{len(secret)} characters",
                    f"none, or {SHORTEST_SECRET} or more that nobody can guess",
                )
            ],
        )
    frame = Frame(service, door, Seals(secret))
    for method, path, page in PAGES:
        app.add_route(path, frame.endpoint(page), methods=[method], include_in_schema=False)
    app.add_route("/pages/icon.svg", _give_icon, methods=["GET"], include_in_schema=False)
    app.add_route(style_path(), _give_style, methods=["GET"], include_in_schema=False)


async def _give_icon(_request: Request) -> Response:
    return Response(
        icon(), media_type="image/svg+xml", headers={"Cache-Control": "public, max-age=86400"}
    )


async def _give_style(_request: Request) -> Response:
    return Response(
        style(),
        media_type="text/css",
        headers={"Cache-Control": "public, max-age=31536000, immutable"},
    )
