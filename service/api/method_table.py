"""The methods each address allows, over all its routes; the router only knows them one by one."""

from __future__ import annotations

from collections.abc import Iterable
from re import Pattern

from starlette.routing import BaseRoute, compile_path


class MethodsByPath:
    """The methods of each address that routes were declared for."""

    def __init__(self) -> None:
        self._known: list[tuple[Pattern[str], frozenset[str]]] = []

    def add(self, routes: Iterable[BaseRoute], *, prefix: str) -> None:
        """Take up the routes of a router that is included under a prefix."""
        for route in routes:
            path, methods = getattr(route, "path", None), getattr(route, "methods", None)
            if isinstance(path, str) and methods:
                self._known.append((compile_path(prefix + path)[0], frozenset(methods)))

    def allowed(self, path: str) -> str | None:
        """The value of an Allow header; None for an address without routes here."""
        methods: set[str] = set()
        for pattern, own in self._known:
            if pattern.match(path):
                methods |= own
        return ", ".join(sorted(methods)) or None
