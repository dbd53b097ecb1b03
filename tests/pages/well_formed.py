"""Whether a page is well formed: tags that close, names that are unique, references that lead."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = frozenset(
    (
        "area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source",
        "track", "wbr",
    )
)  # fmt: skip
REFERENCES = ("for", "aria-describedby", "aria-labelledby", "aria-controls", "list")
INSIDE_PARAGRAPH = frozenset(
    (
        "div", "p", "ul", "ol", "dl", "table", "form", "fieldset", "section", "h1", "h2", "h3",
        "figure", "details",
    )
)  # fmt: skip
"""What ends a paragraph, so that its own end tag is one too many."""


class _Checker(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.faults: list[str] = []
        self.open: list[str] = []
        self.ids: list[str] = []
        self.references: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._note(tag, attrs)
        if tag in INSIDE_PARAGRAPH and "p" in self.open:
            self.faults.append(f"<{tag}> inside of <p>: {attrs}")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._note(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> at {self.getpos()}, open: {self.open[-3:]}")
        while self.open and self.open.pop() != tag:
            pass

    def _note(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        if len(names) != len(set(names)):
            self.faults.append(f"<{tag}> says something twice: {names}")
        for name, value in attrs:
            if name == "id" and value:
                self.ids.append(value)
            elif name in REFERENCES and value:
                self.references += value.split()
            elif name == "href" and value and value.startswith("#"):
                self.references.append(value[1:])


def faults_of(page: str) -> list[str]:
    """What is wrong with a page, each in words; nothing where it is well formed."""
    checker = _Checker()
    checker.feed(page)
    checker.close()
    found = checker.faults
    found += [f"<{tag}> is never closed" for tag in checker.open]
    found += [f"id {each!r} twice" for each in set(checker.ids) if checker.ids.count(each) > 1]
    missing = sorted(set(checker.references) - set(checker.ids))
    return found + [f"nothing has the id {each!r}" for each in missing]
