"""Whether a page keeps to HTML's own rules: what closes, what is inside of what, what is named.

The rules are those of the HTML standard (html.spec.whatwg.org, content models of the elements) that
templates can break, and those of html-validate's recommended set that apply to pages without
scripts. That tool needs another language's runtime and is run by hand (DEVELOPERS.md); what it
found and this one did not was added here.
"""

from __future__ import annotations

from html.parser import HTMLParser
from itertools import pairwise

VOID = frozenset(
    (
        "area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source",
        "track", "wbr",
    )
)  # fmt: skip
REFERENCES = ("for", "aria-describedby", "aria-labelledby", "aria-controls", "list")
BLOCKS = frozenset(
    (
        "div", "p", "ul", "ol", "dl", "table", "form", "fieldset", "section", "h1", "h2", "h3",
        "figure", "details", "nav", "header", "footer", "main", "pre", "blockquote",
    )
)  # fmt: skip
WORDS_ONLY = frozenset(
    (
        "p", "h1", "h2", "h3", "h4", "span", "b", "i", "small", "label", "button", "dt", "strong",
        "em", "code",
    )
)  # fmt: skip
"""Elements that hold no block; a paragraph would even end at one."""
PRESSED = frozenset(("a", "button", "input", "select", "textarea", "summary", "label"))
"""What reacts to a press, and so may not be inside of a link or a button."""
PARENTS = {
    "li": ("ul", "ol"),
    "dt": ("dl", "div"),
    "dd": ("dl", "div"),
    "tr": ("thead", "tbody", "tfoot"),
    "td": ("tr",),
    "th": ("tr",),
    "thead": ("table",),
    "tbody": ("table",),
    "tfoot": ("table",),
    "caption": ("table",),
    "option": ("select", "datalist", "optgroup"),
    "optgroup": ("select",),
    "legend": ("fieldset",),
    "summary": ("details",),
    "figcaption": ("figure",),
}
CHILDREN = {
    "ul": ("li",),
    "ol": ("li",),
    "dl": ("dt", "dd", "div"),
    "tr": ("td", "th"),
    "table": ("caption", "colgroup", "thead", "tbody", "tfoot"),
    "select": ("option", "optgroup"),
}
FIRST = frozenset(("legend", "summary", "caption"))
"""Elements that only the first place of their parent may hold."""
TYPED = frozenset(("button", "input"))
"""Elements whose kind is said and never left to the browser."""
NAMED = frozenset(("input", "select", "textarea"))
UNNAMED_KINDS = frozenset(("hidden", "submit"))


class _Checker(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.faults: list[str] = []
        self.open: list[str] = []
        self.child_counts: list[int] = []
        self.ids: list[str] = []
        self.references: list[str] = []
        self.labelled: set[str] = set()
        self.unlabelled: list[str] = []
        self.headings: list[int] = []
        self.counts: dict[str, int] = {}

    def handle_decl(self, decl: str) -> None:
        if decl != "DOCTYPE html":
            self.faults.append(f"<!{decl}>")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._note(tag, attrs)
        if tag not in VOID:
            self.open.append(tag)
            self.child_counts.append(0)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._note(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> at {self.getpos()}, open: {self.open[-3:]}")
        while self.open:
            self.child_counts.pop()
            if self.open.pop() == tag:
                break

    def handle_data(self, data: str) -> None:
        if data.strip() and self.open and self.open[-1] in CHILDREN:
            self.faults.append(f"text in <{self.open[-1]}>: {data.strip()[:40]!r}")

    def _note(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        found = dict(attrs)
        if len(names) != len(set(names)):
            self.faults.append(f"<{tag}> says something twice: {names}")
        for name, value in attrs:
            if name == "id" and value:
                self.ids.append(value)
            elif name in REFERENCES and value:
                self.references += value.split()
            elif name == "href" and value and value.startswith("#"):
                self.references.append(value[1:])
        if "svg" not in self.open:  # whose titles are those of drawings
            self.counts[tag] = self.counts.get(tag, 0) + 1
        self._note_place(tag, attrs)
        self._note_control(tag, found)
        if tag in ("h1", "h2", "h3", "h4"):
            self.headings.append(int(tag[1]))
        if tag == "img" and "alt" not in found:
            self.faults.append(f"<img> without words: {attrs}")

    def _note_place(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """What is inside of what."""
        parent = self.open[-1] if self.open else ""
        if tag in BLOCKS:
            self.faults += [
                f"<{tag}> inside of <{each}>: {attrs}" for each in self.open if each in WORDS_ONLY
            ]
        if tag in PRESSED:
            self.faults += [
                f"<{tag}> inside of <{each}>: {attrs}"
                for each in ("a", "button")
                if each in self.open
            ]
        if tag == "form" and "form" in self.open:
            self.faults.append(f"<form> inside of <form>: {attrs}")
        if tag in PARENTS and parent not in PARENTS[tag]:
            self.faults.append(f"<{tag}> directly inside of <{parent}>: {attrs}")
        if parent in CHILDREN and tag not in CHILDREN[parent]:
            self.faults.append(f"<{tag}> directly inside of <{parent}>: {attrs}")
        if tag in FIRST and self.child_counts and self.child_counts[-1]:
            self.faults.append(f"<{tag}> is not the first in its <{parent}>")
        if self.child_counts:
            self.child_counts[-1] += 1

    def _note_control(self, tag: str, found: dict[str, str | None]) -> None:
        """What fields and buttons need: a kind, and a name that is read out."""
        if tag in TYPED and "type" not in found:
            self.faults.append(f"<{tag}> without a type: {found}")
        if tag == "label":
            self.labelled.add(found.get("for") or "")
        is_named = (
            "hidden" in found
            or "aria-label" in found
            or "aria-labelledby" in found
            or "label" in self.open
        )
        if tag in NAMED and found.get("type") not in UNNAMED_KINDS and not is_named:
            self.unlabelled.append(found.get("id") or f"one without id, {found}")


def faults_of(page: str) -> list[str]:
    """What is wrong with a page or a part of one, each in words."""
    checker = _Checker()
    checker.feed(page)
    checker.close()
    found = checker.faults
    found += [f"<{tag}> is never closed" for tag in checker.open]
    found += [f"id {each!r} twice" for each in set(checker.ids) if checker.ids.count(each) > 1]
    found += [
        f"the field {each!r} has no label"
        for each in checker.unlabelled
        if each not in checker.labelled
    ]
    if checker.counts.get("html"):
        found += [
            f"{checker.counts.get(tag, 0)} <{tag}>"
            for tag in ("title", "main", "h1")
            if checker.counts.get(tag, 0) != 1
        ]
        found += [
            f"a heading of level {level} after one of {before}"
            for before, level in pairwise(checker.headings)
            if level > before + 1
        ]
    missing = sorted(set(checker.references) - set(checker.ids))
    return found + [f"nothing has the id {each!r}" for each in missing]
