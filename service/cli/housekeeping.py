"""Commands for operators: schema, health check, web server."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from service.bootstrap import Service, migrate_database
from service.cli import shown
from service.cli.demo_clock import in_its_own_time
from service.cli.terminal import (
    EXIT_UNFULFILLED,
    JsonOption,
    note,
    open_service,
    out,
    paragraph,
    plain_table,
    print_json,
)
from service.cli.tools import tools_to_serve
from service.demo_farm import DEMO_DAY
from service.errors import Fault, SettingsInvalid
from service.logs import configure_logs
from service.operations.access.manage_keys import has_live_key
from service.operations.reading.list_components import cyclonedx_document, list_components
from service.operations.schedule.check_health import Health, SiteHealth, check_health
from service.settings import MOST_WORKERS, Settings, read_settings


def migrate(as_json: JsonOption = False) -> None:
    """Upgrade the database to this version's schema; does nothing if it is current."""
    revision = migrate_database()
    if as_json:
        print_json({"revision": revision})
        return
    out.print(f"database is at revision {revision}")


def check(as_json: JsonOption = False) -> None:
    """Check settings, weather and blocks; exit code 1 if something needs attention."""
    settings = read_settings()
    service = open_service(settings)
    health = check_health(
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        backup_alarm_after=service.backup_alarm_after,
    )
    if as_json:
        print_json(_health_document(settings, health))
    else:
        _show_health(settings, health)
    if health.needs_attention:
        raise typer.Exit(EXIT_UNFULFILLED)


def components(
    as_json: JsonOption = False,
    as_cyclonedx: Annotated[
        bool, typer.Option("--cyclonedx", help="Print a CycloneDX bill of materials.")
    ] = False,
) -> None:
    """List the packages this installation runs on, with versions and licenses."""
    found = list_components()
    if as_cyclonedx:
        print_json(cyclonedx_document(found))
        return
    if as_json:
        print_json([asdict(each) for each in found])
        return
    table = plain_table("Package", "Version", "License")
    for each in found:
        table.add_row(each.name, each.version, each.license or "not stated by the package")
    out.print(table)


def shown_database(settings: Settings) -> str:
    """The database's address without a password."""
    head, at, tail = settings.database_url.rpartition("@")
    scheme, slashes, account = head.partition("://")
    user = account.partition(":")[0]
    return f"{scheme}{slashes}{user}@{tail}" if at else settings.database_url


def _show_health(settings: Settings, health: Health) -> None:
    out.print(f"database  {shown_database(settings)}, schema current", soft_wrap=True)
    out.print(f"sources   {' < '.join(settings.source_order)} (most trusted last)")
    out.print(
        f"stored    {shown.count(health.farm_count, 'farm')},"
        f" {shown.count(health.block_count, 'block')}, {shown.count(health.site_count, 'site')},"
        f" {health.county_count} counties"
    )
    out.print(f"plans     latest for {health.latest_plan_day or 'no day yet'}")
    if health.sites:
        out.print()
        table = plain_table("Site", "Observed to", "Rain to", "Forecast to", "Gaps, 30 days")
        for site in health.sites:
            table.add_row(
                site.site_id,
                str(site.last_observed_day or "-"),
                str(site.measured_until.get("rain", "-")),
                str(site.forecast_until_day or "-"),
                f"{len(site.missing_days)} days" if site.missing_days else "none",
            )
        out.print(table)
        for site in health.sites:
            _show_sources(site)
    problems = [*health.findings]
    problems += [f"site {site.site_id}: {text}" for site in health.sites for text in site.findings]
    problems += [
        f"block {each.block_id}: {text}" for each in health.blocks for text in each.findings
    ]
    out.print()
    for text in problems:
        paragraph(f"! {text}")
    if not problems:
        out.print("Nothing needs attention.")
    for text in health.questions:
        paragraph(f"? {text}")


def _show_sources(site: SiteHealth) -> None:
    """Sources of a site's weather for yesterday and tomorrow."""
    for when, by_origin in site.sources.items():
        for origin, names in by_origin.items():
            paragraph(f"{site.site_id}, {when}: {', '.join(names)} from {origin}")


def _health_document(settings: Settings, health: Health) -> dict[str, object]:
    return {
        "database": shown_database(settings),
        "source_order": settings.source_order,
        "needs_attention": health.needs_attention,
        "questions": list(health.questions),
        "farm_count": health.farm_count,
        "block_count": health.block_count,
        "site_count": health.site_count,
        "county_count": health.county_count,
        "latest_plan_day": health.latest_plan_day,
        "findings": health.findings,
        "sites": [
            {
                "site_id": site.site_id,
                "last_observed_day": site.last_observed_day,
                "measured_until": dict(site.measured_until),
                "forecast_until_day": site.forecast_until_day,
                "missing_days": site.missing_days,
                "flag_day_counts": site.flag_day_counts,
                "sources": site.sources,
                "findings": site.findings,
            }
            for site in health.sites
        ],
        "blocks": [
            {"block_id": block.block_id, "findings": block.findings} for block in health.blocks
        ],
    }


def serve(
    host: Annotated[
        str | None, typer.Option("--host", help="Address to listen on; default: loopback only.")
    ] = None,
    port: Annotated[int | None, typer.Option("--port", min=1, max=65535)] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", min=1, max=MOST_WORKERS, help="Processes that share the address."
        ),
    ] = None,
) -> None:
    """Serve the API and its documentation pages until stopped."""
    settings = read_settings()
    make_tools = tools_to_serve(settings)
    service = in_its_own_time(open_service(settings))
    from service.several_workers import WorkerPlace, run_worker

    address, number = host or settings.host, port or settings.port
    place = WorkerPlace.from_environment()
    if place is not None:
        configure_logs(settings.log_format, level=settings.log_level)
        run_worker(service, place, host=address, make_tools=make_tools)
        return
    count = workers or settings.workers
    if count > 1:
        _serve_with(count, service, address, number)
        return
    from service.api.server import run_server

    announce(service, address, number)
    configure_logs(settings.log_format, level=settings.log_level)
    run_server(service, host=address, port=number, make_tools=make_tools)


def _serve_with(count: int, service: Service, address: str, number: int) -> None:
    """Serve with several processes, each of which opens the database for itself."""
    from service.listener import take_listener
    from service.several_workers import run_workers

    settings = service.settings
    with take_listener(address, number) as listener:
        announce(service, address, number)
        if service.shares_counts:
            note(f"{count} processes, which count requests together.")
        else:
            note(
                f"! {count} processes: on SQLite each counts requests for itself, so that a caller"
                f" gets up to {count} times the limits, and writes wait for one another. PostgreSQL"
                " has neither."
            )
        configure_logs(settings.log_format, level=settings.log_level)
        service.close()
        run_workers(count, listener, page_secret=settings.page_secret.get_secret_value())


def announce(service: Service, address: str, number: int) -> None:
    """Say where the service is about to be served and to whom it is open.

    Raises SettingsInvalid where other machines could reach a service without a key.
    """
    from service.api.own_machine import is_loopback

    shown_host = f"[{address}]" if ":" in address else address
    is_here_only = is_loopback(address)
    has_key = has_live_key(unit_of_work=service.unit_of_work, clock=service.clock)
    if not is_here_only and not has_key:
        raise SettingsInvalid(
            f"serving on {address} would open the API to other machines, and no key is stored",
            [
                Fault(
                    "--host",
                    address,
                    "127.0.0.1 (this machine only), or any address once `rillwright keys add` has "
                    "made a key",
                )
            ],
        )
    if service.is_demonstration:
        note(f"The demonstration: all is invented, and it is always the evening of {DEMO_DAY}.")
    note(f"Serving on http://{shown_host}:{number}/ - documentation at /docs - stop with Ctrl-C")
    if not is_here_only:
        note(
            "! Other machines can reach it, and keys travel unencrypted; put a TLS proxy in front "
            "of it."
        )
    elif not has_key:
        note("Open to anyone on this machine until `rillwright keys add` makes the first key.")
