"""The command that runs the scheduler."""

from __future__ import annotations

from typing import Annotated

import typer

from service.cli.terminal import EXIT_UNFULFILLED, JsonOption, note, open_service, out, print_json
from service.logs import configure_logs


def schedule(
    once: Annotated[
        bool, typer.Option("--once", help="Do everything that is due now, then stop.")
    ] = False,
    as_json: JsonOption = False,
    is_logged: Annotated[
        bool, typer.Option("--logged", hidden=True, help="Log instead of printing.")
    ] = False,
) -> None:
    """Make every evening's plans automatically and keep weather and mail up to date, until stopped.

    A second scheduler on the same database is harmless.
    """
    service = open_service()
    from service import scheduler

    if not once or is_logged:
        configure_logs(service.settings.log_format, level=service.settings.log_level)
    if not once:
        scheduler.run_scheduler(service)
        return
    # The process that `run` is keeps the backups itself, since a child's evenings must not wait.
    outcome = scheduler.run_once(service, keeps_backups=not is_logged)
    if is_logged:
        scheduler.log_outcome(outcome)
        return
    if as_json:
        print_json(
            {
                "finished": outcome.finished,
                "given_back": outcome.given_back,
                "passed_by": outcome.passed_by,
                "lost": outcome.lost,
            }
        )
    else:
        for line in scheduler.summary(outcome) or ["nothing is due"]:
            out.print(line)
        for run_key, reason in outcome.given_back.items():
            note(f"error: {run_key} failed and will be retried: {reason}")
        for run_key in outcome.lost:
            note(f"! {run_key} was taken over by another scheduler")
    if outcome.given_back or outcome.lost:
        raise typer.Exit(EXIT_UNFULFILLED)
