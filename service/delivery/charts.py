"""Charts, drawn one way for mails and pages: matplotlib figures, out as PNG or as plain SVG.

Mail clients show no SVG, pages want one that a screen reader, a printer and a strict content policy
can live with; one drawing code for both means that the two never tell different things. What
matplotlib's SVG lacks for a page is put in by :func:`as_svg`: a title, a description and a role,
and attributes in place of inline styles, which such a policy forbids. Every chart is an extra
beside a table with the same numbers; colour is never the only sign: what is rain is hatched, what
is needed is a line.

matplotlib's fonts and caches are not made for threads, so one lock holds for all drawing.
"""

from __future__ import annotations

import io
import re
import threading
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

from service.agronomy.units import MM_PER_INCH
from service.delivery.plain_text import clean
from service.letters import BulletinLetter, EveningLetter, Letter, WeeklyLetter
from service.translations import Wording

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_ROWS = 14
"""More rows cannot be read on a phone; the table has them all."""
WIDTH_IN, ROW_IN = 5.2, 0.34
PNG_DPI = 130
PNG_COLOURS = 24
BLUE, INK, PALE = "#1b4f9c", "#1a1a1a", "#c9d6ea"
_RC: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 11.0,
    "svg.fonttype": "none",
    "svg.hashsalt": "rillwright",
    "axes.edgecolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "hatch.linewidth": 0.8,
    "text.parse_math": False,
}
Written = TypeVar("Written")
_SVG = "http://www.w3.org/2000/svg"
_FONT = re.compile(r"(?:(?:bold|italic|\d{3}) )*([\d.]+)px (.+)")
_drawing = threading.Lock()


def chart_png(letter: Letter, words: Wording) -> bytes | None:
    """The chart of a letter for a mail; None where there is nothing to draw."""
    return _drawn(letter, words, _png)


def chart_svg(letter: Letter, words: Wording, *, title: str, description: str) -> str | None:
    """The same chart for a page, with its title and description."""
    return _drawn(letter, words, lambda figure: as_svg(figure, title, description))


def _drawn(letter: Letter, words: Wording, write: Callable[[Figure], Written]) -> Written | None:
    # Half a second to import: paid by the first chart, not by every command.
    from matplotlib import rc_context  # noqa: PLC0415 - slow to load

    with _drawing, rc_context(_RC):
        match letter:
            case EveningLetter():
                figure = _day_line(letter, words)
            case WeeklyLetter():
                figure = _week_bars(letter, words)
            case BulletinLetter():
                figure = _county_bars(letter, words)
        return None if figure is None else write(figure)


def _figure(row_count: int) -> tuple[Figure, Axes]:
    from matplotlib.figure import Figure  # noqa: PLC0415 - slow to load

    figure = Figure(figsize=(WIDTH_IN, 0.75 + ROW_IN * row_count), layout="constrained")
    return figure, figure.add_subplot()


def _day_line(letter: EveningLetter, words: Wording) -> Figure | None:
    """Tomorrow from midnight to midnight: when each block runs."""
    rows = [block for block in letter.blocks if block.pulses][:MOST_ROWS]
    if not rows:
        return None
    figure, axes = _figure(len(rows))
    zone = ZoneInfo(letter.zone)
    for place, block in enumerate(rows):
        for pulse in block.pulses:
            local = pulse.starts_at.astimezone(zone)
            start_h = local.hour + local.minute / 60.0
            axes.barh(place, pulse.duration_min / 60.0, left=start_h, height=0.62, color=BLUE)
        axes.text(24.4, place, words.minutes(block.planned_min), va="center", clip_on=False)
    _name_rows(axes, [block.name for block in rows])
    axes.set_xlim(0.0, 24.0)
    axes.set_xticks(range(0, 25, 4))
    midnight = rows[0].pulses[0].starts_at.astimezone(zone).replace(hour=0, minute=0)
    axes.set_xticklabels(
        [_hour(words, midnight.replace(hour=hour % 24), letter.zone) for hour in range(0, 25, 4)]
    )
    axes.grid(axis="x", color=PALE, linewidth=0.8)
    axes.set_axisbelow(True)
    return figure


def _hour(words: Wording, instant: datetime, zone: str) -> str:
    text = words.clock(instant, zone)
    return text.replace(":00", "")


def _week_bars(letter: WeeklyLetter, words: Wording) -> Figure | None:
    """Per block: what was applied and what rain was kept, against what the crop used."""
    rows = [block for block in letter.blocks if block.raw_mm is not None][:MOST_ROWS]
    if not rows:
        return None
    figure, axes = _figure(len(rows) + 1)
    scale = 1.0 / MM_PER_INCH if words.unit_system == "us" else 1.0
    for place, block in enumerate(rows):
        is_first = place == 0
        axes.barh(
            place,
            block.applied_mm * scale,
            height=0.56,
            color=BLUE,
            label=words.gettext("Watered") if is_first else None,
        )
        axes.barh(
            place,
            block.rain_kept_mm * scale,
            left=block.applied_mm * scale,
            height=0.56,
            facecolor="white",
            edgecolor=BLUE,
            hatch="///",
            label=words.gettext("Rain kept") if is_first else None,
        )
        needed = block.needed_mm * scale
        axes.plot(
            [needed, needed],
            [place - 0.42, place + 0.42],
            color=INK,
            linewidth=3.0,
            label=words.gettext("Crop used") if is_first else None,
        )
    _name_rows(axes, [block.name for block in rows])
    axes.set_xlim(left=0.0)
    axes.set_xlabel(words.depth_unit)
    axes.legend(loc="lower center", bbox_to_anchor=(0.4, 1.0), ncols=3, frameon=False)
    return figure


def _county_bars(letter: BulletinLetter, words: Wording) -> Figure | None:
    """The counties by need, the largest first."""
    rows = [county for county in letter.counties if county.rank > 0][:MOST_ROWS]
    if not rows:
        return None
    figure, axes = _figure(len(rows))
    scale = 1.0 / MM_PER_INCH if words.unit_system == "us" else 1.0
    for place, county in enumerate(rows):
        axes.barh(place, county.gross_need_mm * scale, height=0.6, color=BLUE)
        text = words.bare_depth(county.gross_need_mm)
        axes.text(county.gross_need_mm * scale, place, f" {text}", va="center")
    _name_rows(axes, [county.name for county in rows])
    axes.set_xlim(left=0.0)
    axes.margins(x=0.14)
    axes.set_xlabel(words.depth_unit)
    return figure


def _name_rows(axes: Axes, names: Sequence[str]) -> None:
    axes.set_yticks(range(len(names)))
    axes.set_yticklabels([clean(name, longest=20) for name in names])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(names) - 0.4, -0.6)


def _png(figure: Figure) -> bytes:
    """A picture of few colours: a quarter of the bytes, and nobody sees the difference."""
    from PIL import Image  # noqa: PLC0415 - slow to load

    drawn = io.BytesIO()
    figure.savefig(drawn, format="png", dpi=PNG_DPI)
    written = io.BytesIO()
    with Image.open(drawn) as picture:
        picture.convert("RGB").quantize(PNG_COLOURS).save(written, format="png", optimize=True)
    return written.getvalue()


# --- SVG for pages -----------------------------------------------------------------------------


def as_svg(figure: Figure, title: str, description: str) -> str:
    """A figure as SVG to stand inside a page: named, described, without inline styles."""
    written = io.StringIO()
    figure.savefig(written, format="svg", metadata={"Date": None, "Creator": None})
    ElementTree.register_namespace("", _SVG)
    ElementTree.register_namespace("xlink", "http://www.w3.org/1999/xlink")
    # Our own output a line above, not a document that came from anywhere.
    root = ElementTree.fromstring(written.getvalue())
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag.rpartition("}")[2] in {"metadata", "style"}:
                parent.remove(child)
    for element in root.iter():
        style = element.attrib.pop("style", "")
        for rule in filter(None, (part.strip() for part in style.split(";"))):
            name, _, value = rule.partition(":")
            _set_attribute(element, name.strip(), value.strip())
    root.attrib.pop("width", None)
    root.attrib.pop("height", None)
    root.set("role", "img")
    named = ElementTree.Element(f"{{{_SVG}}}title")
    named.text = title
    described = ElementTree.Element(f"{{{_SVG}}}desc")
    described.text = description
    root.insert(0, described)
    root.insert(0, named)
    root.set("stroke-linejoin", "round")
    return ElementTree.tostring(root, encoding="unicode")


def _set_attribute(element: ElementTree.Element, name: str, value: str) -> None:
    if name == "font":
        match = _FONT.fullmatch(value)
        if match is not None:
            element.set("font-size", match[1])
            element.set("font-family", match[2].replace("'", ""))
        return
    element.set(name, value)
