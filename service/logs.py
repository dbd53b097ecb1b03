"""Logs: one line per event on the error stream, for a person to read or a program to parse.

Operations and adapters log events with named facts; the context (run key, site, request) is bound
around a piece of work by :data:`log_context` and appears on every line in it. Lines of libraries
take the same form. Long-running processes choose format and level with :func:`configure_logs`;
until then nothing is logged, so that a command's output stays clean.

Times are UTC. No text from outside can forge a line or steer a terminal: control characters and
whatever else is not printable are written as escapes, and a stack trace is indented under its line.
"""

from __future__ import annotations

import logging
import sys
from collections.abc import Mapping, MutableMapping
from datetime import UTC, date, datetime
from typing import Any, Final, Literal

import orjson
import structlog
from structlog.contextvars import (
    bind_contextvars,
    bound_contextvars,
    get_contextvars,
    merge_contextvars,
    reset_contextvars,
)

LogFormat = Literal["console", "json"]
LogLevel = Literal["debug", "info", "warning", "error"]

LONGEST_TEXT: Final = 4_000
"""Most characters of one value; more would only fill the disk."""
QUIET_LOGGERS: Final = (
    "alembic", "apscheduler", "httpcore", "httpx", "mcp", "stamina", "uvicorn.access",
)  # fmt: skip
"""Libraries that are too verbose at ``info``: each request (with its key), each migration."""

_FACTS: Final = "facts"
log_context = bound_contextvars
"""``with log_context(site=...):`` names what the work inside is about, in this thread or task."""
bind_log_context = bind_contextvars
"""The same without ``with``, four microseconds cheaper, for what every request passes through."""
unbind_log_context = reset_contextvars


def get_logger(name: str) -> structlog.stdlib.BoundLogger:
    """A logger for events with facts: ``log.info("plans made", block_count=12)``."""
    logger: structlog.stdlib.BoundLogger = structlog.stdlib.get_logger(name)
    return logger


def configure_logs(log_format: LogFormat, *, level: LogLevel = "info") -> None:
    """Write the process's logs to its error stream; a second call replaces the choices."""
    handler = _ErrorStream()
    handler.setFormatter(_LineFormatter(log_format))
    root = logging.getLogger()
    for old in [each for each in root.handlers if isinstance(each, _ErrorStream)]:
        root.removeHandler(old)
    root.addHandler(handler)
    root.setLevel(level.upper())
    for name in QUIET_LOGGERS:
        logger = logging.getLogger(name)
        logger.setLevel(max(logger.level, logging.WARNING))


def _hand_over(
    _logger: object, _method: str, event: MutableMapping[str, Any]
) -> tuple[tuple[str], dict[str, Any]]:
    """An event as arguments for the standard library, where any handler can take it up."""
    text = str(event.pop("event"))
    options = {
        name: event.pop(name) for name in ("exc_info", "stack_info", "stacklevel") if name in event
    }
    return (text,), {**options, "extra": {_FACTS: dict(event)}}


class _ErrorStream(logging.Handler):
    """Writes to the current error stream."""

    def emit(self, record: logging.LogRecord) -> None:
        """Write one record; a failure is reported and does not stop the process."""
        try:
            sys.stderr.write(self.format(record) + "\n")
            sys.stderr.flush()
        except Exception:
            self.handleError(record)


class _LineFormatter(logging.Formatter):
    """One record as one line; on a console its stack follows, indented."""

    def __init__(self, log_format: LogFormat) -> None:
        super().__init__()
        self._format = log_format

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        facts = getattr(record, _FACTS, None)
        facts = {**get_contextvars(), **(facts if isinstance(facts, Mapping) else {})}
        stamp = datetime.fromtimestamp(record.created, tz=UTC).isoformat(timespec="milliseconds")
        line: dict[str, object] = {
            "at": stamp.replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "event": printable(record.getMessage()),
            "logger": record.name,
            **{f"{name}_" if name in _OWN_NAMES else name: plain(x) for name, x in facts.items()},
        }
        stack = self.formatException(record.exc_info) if record.exc_info else ""
        if self._format == "json":
            if stack:
                line["stack"] = printable(stack, keep="\n")
            return orjson.dumps(line, option=orjson.OPT_NON_STR_KEYS).decode()
        return _console_line(line, stack)


_OWN_NAMES: Final = frozenset({"at", "level", "event", "logger", "stack"})


def _console_line(line: Mapping[str, object], stack: str) -> str:
    facts = " ".join(
        f"{name}={_console_value(value)}" for name, value in line.items() if name not in _OWN_NAMES
    )
    head = f"{line['at']} {line['level']!s:7} {line['event']}"
    rows = [f"{head}  {facts}" if facts else head]
    rows += [f"    {row}" for row in printable(stack, keep="\n").split("\n") if stack]
    return "\n".join(rows)


def _console_value(value: object) -> str:
    """Quoted wherever it could be taken for another fact."""
    if isinstance(value, str) and value and not set(value) & set(" =\"'{}[]"):
        return value
    return orjson.dumps(value, option=orjson.OPT_NON_STR_KEYS).decode()


def plain(value: object) -> object:
    """A fact as a JSON value with printable texts."""
    match value:
        case None | bool() | int() | float():
            return value
        case datetime():
            return value.isoformat()
        case date():
            return value.isoformat()
        case Mapping():
            return {printable(str(key)): plain(each) for key, each in value.items()}
        case list() | tuple() | set() | frozenset():
            return [plain(each) for each in value]
        case _:
            return printable(str(value))


def printable(text: str, *, keep: str = "") -> str:
    r"""Text without anything that a terminal or a line reader would obey.

    >>> printable("one\ntwo \x1b[31mred")
    'one\\ntwo \\x1b[31mred'
    """
    if len(text) > LONGEST_TEXT and not keep:
        text = text[:LONGEST_TEXT] + "…"
    if text.isprintable():
        return text
    return "".join(
        sign if sign.isprintable() or sign in keep else ascii(sign)[1:-1] for sign in text
    )


# Done once, on import: every event goes through the standard library, which drops those below the
# configured level.
logging.getLogger("service").addHandler(logging.NullHandler())
structlog.configure(
    processors=[
        structlog.stdlib.filter_by_level,
        merge_contextvars,
        structlog.stdlib.PositionalArgumentsFormatter(),
        _hand_over,
    ],
    wrapper_class=structlog.stdlib.BoundLogger,
    logger_factory=structlog.stdlib.LoggerFactory(),
    cache_logger_on_first_use=True,
)
