"""Shared by all commands: exit codes for errors, JSON output, progress bars, parsing of days.

Exit codes: 0 done; 1 not found, not possible now, or something needs attention; 2 what was given is
wrong (each fault is listed on the error stream); 3 the database failed. Output goes to the standard
stream, messages about it to the error stream.
"""

from __future__ import annotations

import getpass
import re
import textwrap
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Any

import orjson
import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text
from typer.core import TyperCommand, TyperGroup

from service import __version__, bootstrap
from service.database.acting import acting_as
from service.errors import InputInvalid, RillwrightError, StorageFailed
from service.ports import Clock
from service.records.audit import Actor, ActorKind, Entrance
from service.settings import Settings

EXIT_UNFULFILLED = 1
EXIT_INPUT = 2
EXIT_STORAGE = 3

# Names come from farm files: anything in them that looks like markup is printed literally.
out = Console(markup=False, emoji=False, highlight=False)
err = Console(markup=False, emoji=False, highlight=False, stderr=True)

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_BELOW_ZERO = re.compile(r"-[0-9.]+")


class UnitSystem(StrEnum):
    """How numbers are shown to people; JSON and CSV are always SI."""

    US = "us"
    SI = "si"


_at_the_end: ContextVar[ExitStack] = ContextVar("at_the_end")
"""Clean-up to run when the current command ends."""


class _Commands(TyperGroup):
    """The group of all commands; turns the service's errors into messages and exit codes."""

    def invoke(self, ctx: Any) -> Any:
        """Run a command; an expected error ends it without a traceback."""
        with ExitStack() as at_the_end:
            outer = _at_the_end.set(at_the_end)
            at_the_end.callback(_at_the_end.reset, outer)
            at_the_end.enter_context(acting_as(_user_of_this_machine()))
            try:
                return super().invoke(ctx)
            except RillwrightError as error:
                raise typer.Exit(_explain(error)) from error


class NumbersCommand(TyperCommand):
    """A command whose arguments are numbers: -5 is a number that it may refuse, not an option."""

    def parse_args(self, ctx: Any, args: list[str]) -> Any:
        """Let numbers below zero through to the argument; options are known as ever."""
        ctx.ignore_unknown_options = any(_BELOW_ZERO.fullmatch(each) for each in args)
        return super().parse_args(ctx, args)


def _user_of_this_machine() -> Actor:
    try:
        name = getpass.getuser()
    except (ImportError, KeyError, OSError):
        name = ""  # a container may run as a number that has no name
    return Actor(ActorKind.COMMAND, Entrance.COMMAND_LINE, name=name)


def _explain(error: RillwrightError) -> int:
    if isinstance(error, InputInvalid):
        err.print(f"error: {error.message}", soft_wrap=True)
        for fault in error.faults:
            err.print(f"  - {fault.where}", soft_wrap=True)
            err.print(f"      found:   {fault.found}", soft_wrap=True)
            err.print(f"      allowed: {fault.allowed}", soft_wrap=True)
        return EXIT_INPUT
    err.print(f"error: {error}", soft_wrap=True)
    return EXIT_STORAGE if isinstance(error, StorageFailed) else EXIT_UNFULFILLED


def make_app() -> typer.Typer:
    """The command group without commands."""
    app = typer.Typer(
        cls=_Commands,
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
        help=(
            "Weather-driven drip irrigation schedules for perennial fruit.\n\n"
            "Start with `rillwright demo`. The database is named by RILLWRIGHT_DATABASE_URL"
            " (default sqlite:///rillwright.db, a file in the current folder)."
        ),
        epilog=(
            "Exit codes: 0 done; 1 not found, not possible now or in need of attention; 2 wrong"
            " input; 3 the database failed."
        ),
    )

    @app.callback()
    def rillwright(
        shows_version: Annotated[
            bool,
            typer.Option(
                "--version", callback=_show_version, is_eager=True, help="Print the version."
            ),
        ] = False,
    ) -> None:
        """Make this a command group even with a single command."""

    return app


def _show_version(is_asked: bool) -> None:
    """Print the version and end, before any command is looked for."""
    if is_asked:
        print_text(f"rillwright {__version__}")
        raise typer.Exit


def open_service(
    settings: Settings | None = None, *, clock: Clock | None = None
) -> bootstrap.Service:
    """The service on its database; connections are closed when the command ends."""
    service = bootstrap.open_service(settings, clock=clock)
    _at_the_end.get().callback(service.close)
    return service


def parse_day(text: str) -> date:
    """A day as YYYY-MM-DD; anything else is a usage error."""
    try:
        if _DAY.fullmatch(text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    message = f"{text!r} is not a day such as 2026-07-14"
    raise typer.BadParameter(message)


def parse_start(text: str) -> datetime:
    """A start as YYYY-MM-DDTHH:MM, local to the site unless it has an offset."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        message = f"{text!r} is not a time such as 2026-07-15T05:10"
        raise typer.BadParameter(message) from error
    if ":" not in text:
        message = f"{text!r} is a day without a time of day: write it as 2026-07-15T05:10"
        raise typer.BadParameter(message)
    return moment


JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON instead, in SI units.")]
UnitsOption = Annotated[
    UnitSystem | None,
    typer.Option("--units", help="Units to show; default: the farm's."),
]


def print_json(document: object) -> None:
    """One JSON document on the standard stream; NaN becomes null."""
    text = orjson.dumps(
        document,
        option=orjson.OPT_INDENT_2 | orjson.OPT_SERIALIZE_NUMPY,
    )
    print_text(text.decode())


def print_text(text: str) -> None:
    """Print text on the standard stream unchanged, never wrapped."""
    typer.echo(text)


def paragraph(text: str, *, indent: str = "", style: str = "") -> None:
    """Prose for people, wrapped to the width at hand; a caution's lines stand under each other."""
    further = f"{indent}  " if text.startswith("! ") else indent
    lines = textwrap.wrap(
        text,
        width=out.width,
        initial_indent=indent,
        subsequent_indent=further,
        break_on_hyphens=False,
        break_long_words=False,
    )
    out.print(Text("\n".join(lines), style=style), soft_wrap=True)


def note(text: str) -> None:
    """Print a message on the error stream."""
    err.print(text, soft_wrap=True)


def plain_table(*headings: str, right: tuple[int, ...] = ()) -> Table:
    """A table that stays readable when copied into a message."""
    table = Table(
        box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold", show_edge=False
    )
    for place, heading in enumerate(headings):
        table.add_column(heading, justify="right" if place in right else "left")
    return table


@contextmanager
def progress_bar(label: str, total: int) -> Iterator[Callable[[int], None]]:
    """Show a progress bar on the error stream; call it with the count done so far."""
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        console=err,
        transient=True,
        disable=not err.is_terminal,
    )
    with bar:
        task = bar.add_task(label, total=total)
        yield lambda done: bar.update(task, completed=done)
