"""Puts the pages into the web application."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Match, Route
from starlette.types import Scope

from service.bootstrap import Service
from service.errors import Fault, NotFound, SettingsInvalid
from service.pages import (
    acid,
    block,
    block_numbers,
    block_trial,
    changes,
    comparison,
    counties,
    fertiliser_split,
    first_steps,
    forecast_quality,
    log_book,
    nutrition,
    nutrition_form,
    other_systems,
    parts,
    people,
    plans,
    report_day,
    run_list,
    season,
    setup,
    sheet,
    sign_in,
    table_files,
    timer_link,
    timers,
    tomorrow,
    unsubscribe,
    visit_notes,
    water_use,
    waterworks,
    waterworks_forms,
    weather,
    what_changed,
    what_if,
)
from service.pages.look import font, font_licence, font_path, icon, style, style_path
from service.pages.sessions import Seals
from service.pages.visit import Door, Frame, Page, Visit, choose_reading
from service.records.letters import SIGN_IN_LINK, TIMER_LINK

SHORTEST_SECRET = 32
_FOR_A_DAY = "public, max-age=86400"
_FOR_GOOD = "public, max-age=31536000, immutable"
PIPES_AND_WATER = "/blocks/{block_id}/pipes-and-water"
LEAF_AND_SOIL_TESTS = "/blocks/{block_id}/leaf-and-soil-tests"
PAGES: tuple[tuple[str, str, Page], ...] = (
    ("GET", "/sign-in", sign_in.sign_in),
    ("POST", "/sign-in", sign_in.sign_in),
    ("POST", "/sign-in/mail", sign_in.ask_by_mail),
    ("POST", "/sign-out", sign_in.sign_out),
    ("POST", "/reading", choose_reading),
    ("GET", "/farms", plans.show_farms),
    ("GET", "/farms/new", setup.new_farm),
    ("POST", "/farms/new", setup.new_farm),
    ("GET", "/farms/{farm_id}/tomorrow", tomorrow.show_tomorrow),
    ("GET", "/farms/{farm_id}/sheet", sheet.show_sheet),
    ("GET", "/farms/{farm_id}/report", report_day.show_report),
    ("POST", "/farms/{farm_id}/report", report_day.enter_report),
    ("GET", "/farms/{farm_id}/what-changed", what_changed.show_what_changed),
    ("GET", "/farms/{farm_id}/what-if", what_if.show_what_if),
    ("GET", "/farms/{farm_id}/log-book", log_book.show_log_book),
    ("POST", "/farms/{farm_id}/log-book", log_book.enter_log_note),
    ("GET", "/farms/{farm_id}/log-book.{ending}", log_book.log_book_file),
    ("GET", "/farms/{farm_id}/runs", run_list.show_runs),
    ("GET", "/farms/{farm_id}/runs.{ending}", table_files.run_file),
    ("GET", "/blocks/{block_id}/runs/{start}", run_list.show_run),
    ("POST", "/blocks/{block_id}/runs/{start}", run_list.change_run),
    ("GET", "/farms/{farm_id}/plans.{ending}", table_files.plan_file),
    ("GET", "/farms/{farm_id}/water-used", water_use.show_water_use),
    ("GET", "/farms/{farm_id}/water-used.{ending}", water_use.water_use_file),
    ("GET", "/blocks/{block_id}/balance.{ending}", table_files.balance_file),
    ("GET", "/farms/{farm_id}/season", season.show_season),
    ("POST", "/farms/{farm_id}/calendar-link", season.make_calendar_link),
    ("GET", "/farms/{farm_id}/visit-notes", visit_notes.show_notes),
    ("POST", "/farms/{farm_id}/visit-notes", visit_notes.enter_note),
    ("GET", "/farms/{farm_id}/timers", timers.show_timers),
    ("POST", "/blocks/{block_id}/timer", timers.enter_program),
    ("GET", "/farms/{farm_id}/weather", weather.show_weather),
    ("GET", "/farms/{farm_id}/forecast-quality", forecast_quality.show_forecast_quality),
    ("GET", "/farms/{farm_id}/setup", setup.show_setup),
    ("GET", "/farms/{farm_id}/changes", changes.show_changes),
    ("GET", "/farms/{farm_id}/other-systems", other_systems.show_systems),
    ("POST", "/farms/{farm_id}/other-systems", other_systems.change_systems),
    ("GET", "/farms/{farm_id}/supplies/new", setup.new_supply),
    ("POST", "/farms/{farm_id}/supplies/new", setup.new_supply),
    ("GET", "/farms/{farm_id}/edit", setup.edit_farm),
    ("POST", "/farms/{farm_id}/edit", setup.edit_farm),
    ("GET", "/farms/{farm_id}/supplies/{supply_id}/edit", setup.edit_supply),
    ("POST", "/farms/{farm_id}/supplies/{supply_id}/edit", setup.edit_supply),
    ("GET", "/farms/{farm_id}/supplies/{supply_id}/retire", setup.retire_supply),
    ("POST", "/farms/{farm_id}/supplies/{supply_id}/retire", setup.retire_supply),
    ("GET", "/farms/{farm_id}/soil-now", first_steps.soil_now),
    ("POST", "/farms/{farm_id}/soil-now", first_steps.soil_now),
    ("GET", "/farms/{farm_id}/first-weather", first_steps.show_first_weather),
    ("GET", "/farms/{farm_id}/people", people.show_people),
    ("POST", "/farms/{farm_id}/people", people.add_person),
    ("POST", "/farms/{farm_id}/people/remove", people.drop_person),
    ("POST", "/farms/{farm_id}/first-plan", tomorrow.plan_first),
    ("GET", "/farms/{farm_id}/blocks/new", setup.new_block),
    ("POST", "/farms/{farm_id}/blocks/new", setup.new_block),
    ("GET", "/blocks/{block_id}", block.show_block),
    ("GET", "/blocks/{block_id}/edit", setup.edit_block),
    ("POST", "/blocks/{block_id}/edit", setup.edit_block),
    ("GET", "/blocks/{block_id}/retire", setup.retire_block),
    ("POST", "/blocks/{block_id}/retire", setup.retire_block),
    ("POST", "/blocks/{block_id}/rain", block.enter_rain),
    ("POST", "/blocks/{block_id}/runs", block.enter_run),
    ("POST", "/blocks/{block_id}/soil", block.enter_soil),
    ("POST", "/blocks/{block_id}/emitter-flow", block.use_emitter_flow),
    ("POST", "/blocks/{block_id}/risk-attitude", block_trial.choose),
    ("POST", "/blocks/{block_id}/sensor", block.enter_sensor),
    ("POST", "/blocks/{block_id}/pauses", block.enter_pause),
    ("POST", "/blocks/{block_id}/pauses/{pause_id}/cancel", block.take_back_pause),
    ("GET", "/blocks/{block_id}/numbers", block_numbers.show_numbers),
    ("GET", "/blocks/{block_id}/comparison", comparison.show_comparison),
    ("GET", PIPES_AND_WATER, waterworks.show_pipes_and_water),
    ("POST", f"{PIPES_AND_WATER}/pipes", waterworks_forms.enter_pipes),
    ("POST", f"{PIPES_AND_WATER}/catch-tests", waterworks_forms.enter_catch_test),
    ("POST", f"{PIPES_AND_WATER}/water-samples", waterworks_forms.enter_water_sample),
    ("POST", f"{PIPES_AND_WATER}/leaching", waterworks_forms.use_leaching),
    ("POST", f"{PIPES_AND_WATER}/fertigations", waterworks_forms.enter_injection),
    ("POST", f"{PIPES_AND_WATER}/fertigations/cancel", waterworks_forms.take_back_injection),
    ("GET", "/blocks/{block_id}/acid", acid.show_acid),
    ("POST", "/blocks/{block_id}/acid/given", acid.enter_given_acid),
    ("POST", "/blocks/{block_id}/acid/given/delete", acid.take_back_given_acid),
    ("GET", "/blocks/{block_id}/fertiliser-split", fertiliser_split.show_split),
    ("GET", "/blocks/{block_id}/parts", parts.show_parts),
    ("GET", LEAF_AND_SOIL_TESTS, nutrition.show_tests),
    ("POST", f"{LEAF_AND_SOIL_TESTS}/plant", nutrition_form.enter_plant_test),
    ("POST", f"{LEAF_AND_SOIL_TESTS}/soil", nutrition_form.enter_soil_test),
    ("POST", f"{LEAF_AND_SOIL_TESTS}/delete", nutrition_form.delete_test),
    ("GET", "/counties", counties.show_counties),
    ("GET", "/counties.csv", counties.counties_csv),
    ("GET", "/counties.xlsx", counties.counties_file),
)
FILE_PAGES: tuple[tuple[str, Page], ...] = (
    ("/farms/{farm_id}/first-weather", first_steps.upload_weather),
    ("/farms/{farm_id}/runs", run_list.upload_runs),
)
"""Pages whose form may bring a file."""
LINKED_PAGES: tuple[tuple[str, str, Page], ...] = (
    ("GET", f"{SIGN_IN_LINK}/{{token}}", sign_in.show_link),
    ("POST", f"{SIGN_IN_LINK}/{{token}}", sign_in.follow_link),
    ("GET", f"{TIMER_LINK}/{{token}}/{{program_id}}", timer_link.show_link),
    ("POST", f"{TIMER_LINK}/{{token}}/{{program_id}}", timer_link.follow_link),
)
"""Pages that mails lead to."""
SECRET_PAGES: tuple[tuple[str, str, Page], ...] = (
    ("GET", "/u/{token}", unsubscribe.show_unsubscribe),
    ("POST", "/u/{token}", unsubscribe.stop_mails),
)
"""Those whose address is all that is needed, so that mail programs can send to them (RFC 8058)."""


class _PageRoute(Route):
    """A route that records its own path, so that logs and metrics name the route and not the
    requested address, which may contain a secret."""

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """As any route, and the route itself beside its parameters."""
        match, found = super().matches(scope)
        return match, found if match is Match.NONE else {**found, "route": self}


def mount_pages(
    app: FastAPI, service: Service, door: Door
) -> Callable[[Request], Awaitable[Response]]:
    """Add every page and the files of their look; the endpoint for addresses that nobody knows."""
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
    for method, path, page in (*PAGES, *LINKED_PAGES):
        app.routes.append(_PageRoute(path, frame.endpoint(page), methods=[method]))
    for path, page in FILE_PAGES:
        endpoint = frame.endpoint(page, takes_file=True)
        app.routes.append(_PageRoute(path, endpoint, methods=["POST"]))
    for method, path, page in SECRET_PAGES:
        endpoint = frame.endpoint(page, is_by_secret=True)
        app.routes.append(_PageRoute(path, endpoint, methods=[method]))
    for file_path, content, media_type, lasts in (
        ("/pages/icon.svg", icon(), "image/svg+xml", _FOR_A_DAY),
        ("/pages/font-licence.txt", font_licence(), "text/plain", _FOR_A_DAY),
        (style_path(), style(), "text/css", _FOR_GOOD),
        (font_path(), font(), "font/woff2", _FOR_GOOD),
    ):
        app.add_route(
            file_path, _file(content, media_type, lasts), methods=["GET"], include_in_schema=False
        )
    return frame.endpoint(_nothing_here)


def _nothing_here(_visit: Visit) -> Response:
    raise NotFound("there is nothing under this address")


def _file(content: bytes, media_type: str, lasts: str) -> Callable[[Request], Awaitable[Response]]:
    """The endpoint of a file that every page may need."""

    async def give(_request: Request) -> Response:
        return Response(content, media_type=media_type, headers={"Cache-Control": lasts})

    return give
