"""What all drawings share: the frame with its words, letters, axes, and the look of a file."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from markupsafe import Markup, escape

WIDTH = 360
"""Small, so that text stays readable where the chart fills a telephone."""
EDGE = 4
HEADING_ROOM = 26
_LETTER_WIDTH = 0.62
"""Of a letter's height, on average, in the broad face of mails and downloads."""
_NARROW_LETTER_WIDTH = 0.45
"""The same in the narrow face of the pages."""
_TITLE = re.compile(r"<title[^>]*>(.*?)</title>", re.DOTALL)
FILE_STYLE = (
    "svg{font:13px 'DejaVu Sans',Verdana,sans-serif}text{fill:#17130d}"
    ".name{font-size:14px}.small{font-size:12px;fill:#554c40}.heading{font-weight:bold}"
    ".paper{fill:#fff}.track{fill:#e8e2d7}.ground{fill:#f5f2ec;stroke:#82786a}"
    ".water{fill:#5b3413}.rain{fill:none;stroke:#3c5360;stroke-width:1.6}"
    ".kept{stroke:#5b3413;stroke-width:1.5}.kept-stripe{stroke:#5b3413;stroke-width:2}"
    ".needed{fill:none;stroke:#17130d;stroke-width:3}.ahead{fill:#f5f2ec}"
    ".grid{stroke:#d8d1c5;fill:none}.axis{stroke:#82786a;fill:none}"
    ".divide{stroke:#554c40;stroke-dasharray:1 3;fill:none}"
    ".limit{stroke:#17130d;stroke-width:2;stroke-dasharray:7 4;fill:none}"
    ".line{fill:none;stroke-width:2.5;stroke:#17130d;stroke-linejoin:round}"
    ".line.level{stroke-width:2.75}"
    ".mark{fill:none;stroke:#9c2a08;stroke-width:2}.odd{fill:none;stroke:#9c2a08;stroke-width:2}"
)
"""The classes as the style sheet of the pages draws them by day: a file has no style sheet."""


def figure(
    title: str, description: str, body: Sequence[str], *, height: float, name: str
) -> Markup:
    """A drawing with its title and description; ``name`` tells it from others of the same page."""
    return drawing(title, description, body, width=WIDTH, height=height, name=name)


def drawing(
    title: str, description: str, body: Sequence[str],
    *, width: int, height: float, name: str, css: str = "",
) -> Markup:  # fmt: skip
    """A drawing of any width, in units of 1 px where it is drawn at its own size."""
    return Markup(
        '<svg class="chart{}" viewBox="0 0 {} {}" role="img" aria-labelledby="{}-t {}-d">'
        '<title id="{}-t">{}</title><desc id="{}-d">{}</desc><g aria-hidden="true">{}</g></svg>'
    ).format(
        f" {css}" if css else "",
        width,
        math.ceil(height),
        name,
        name,
        name,
        title,
        name,
        description,
        Markup("".join(body)),
    )


def as_file(drawn: Markup, *, is_headed: bool = False) -> str:
    """A standalone drawing: it brings its own look, its size and, if asked for, its heading."""
    height = int(str(drawn).split('viewBox="0 0 ', 1)[1].split('"', 1)[0].split()[1])
    top = 0
    heading = ""
    found = _TITLE.search(drawn)
    if is_headed and found is not None:
        top = HEADING_ROOM
        title = Markup(found[1])
        size = min(13.0, (WIDTH - 2 * EDGE) / (_LETTER_WIDTH * 1.1 * max(len(title.unescape()), 1)))
        heading = f'<text class="heading" x="{EDGE}" y="-9" font-size="{size:.1f}">{title}</text>'
    tall = height + top
    return (
        str(drawn)
        .replace(
            f'<svg class="chart" viewBox="0 0 {WIDTH} {height}"',
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{2 * WIDTH}" height="{2 * tall}"'
            f' viewBox="0 {-top} {WIDTH} {tall}"',
            1,
        )
        .replace(
            "</desc>",
            f"</desc><style>{FILE_STYLE}</style>"
            f'<rect class="paper" y="{-top}" width="{WIDTH}" height="{tall}"/>{heading}',
            1,
        )
    )


def text(x: float, y: float, shown: str, *, anchor: str = "start", css: str) -> str:
    """Text at a position."""
    return (
        f'<text class="{css}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(shown)}</text>'
    )


def label(x: float, y: float, shown: str, *, css: str = "") -> str:
    """Text at a position, its look and its anchor by class; of a drawing that is for pages only."""
    look = f' class="{css.strip()}"' if css.strip() else ""
    return f'<text{look} x="{x:g}" y="{y:g}">{escape(shown)}</text>'


def narrow_width(shown: str, *, size: float) -> float:
    """Approximate width of a text in the narrow face of the pages."""
    return _NARROW_LETTER_WIDTH * size * len(shown)


def fitting(shown: str, *, room: float, size: float = 14.0) -> str:
    """A text cut to a width, as well as possible without font metrics: the table has all of it.

    >>> fitting("North of the old barn", room=100.0)
    'North of t…'
    """
    most = max(int(room / (_LETTER_WIDTH * size)), 2)
    return shown if len(shown) <= most else shown[: most - 1].rstrip() + "…"


def width_of(shown: str, *, size: float) -> float:
    """Approximate width of a text."""
    return _LETTER_WIDTH * size * len(shown)


def axis_end(value: float) -> float:
    """The next round number for the end of an axis.

    >>> axis_end(0.37), axis_end(42.0), axis_end(0.0)
    (0.4, 50.0, 1.0)
    """
    if not value > 0.0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(
        step * power
        for step in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
        if step * power >= value * 0.999
    )


def most_of(values: Sequence[float]) -> float:
    """The largest of the known values; 0 where none is known."""
    return max((value for value in values if math.isfinite(value)), default=0.0)


def end_labels(y: float, labels: Sequence[str], *, left: float) -> list[str]:
    """The first, the middle and the last of the names along an axis."""
    if not labels:
        return []
    last = len(labels) - 1
    body = [text(left, y, labels[0], css="small")]
    if last > 1:
        middle = left + (WIDTH - EDGE - left) * 0.5
        body.append(text(middle, y, labels[(last + 1) // 2], anchor="middle", css="small"))
    if last > 0:
        body.append(text(WIDTH - EDGE, y, labels[-1], anchor="end", css="small"))
    return body
