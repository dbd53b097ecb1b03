"""The chart of a letter as a picture: the drawings of the pages, for mail clients that show no SVG.

The picture is an extra below the same numbers as text. It uses a font that ships with the service,
so that a letter gives the same bytes on every machine; the outbox stores them.
"""

from __future__ import annotations

import io
from datetime import datetime
from functools import cache, lru_cache
from importlib.resources import files
from zoneinfo import ZoneInfo

from markupsafe import Markup

from service.delivery.plain_text import clean
from service.drawing.bars import WaterBar, ranked, week_bars
from service.drawing.day_line import Row, day_line
from service.drawing.frame import as_file
from service.records.letters import BulletinLetter, EveningLetter, Letter, WeeklyLetter
from service.translations import Wording
from service.unit_sizes import MM_PER_INCH

MOST_ROWS = 14
"""More rows would be unreadable on a phone; the table has them all."""
PNG_WIDTH = 720
"""Two pixels per unit of the drawing, for high-resolution phones."""
PNG_COLOURS = 16
MOST_KEPT = 16
"""Pictures of some 10 kB; the mails of a farm are written one after the other."""


def chart_png(letter: Letter, words: Wording) -> bytes | None:
    """The chart of a letter for a mail; None where there is nothing to draw."""
    drawn = draw_letter(letter, words)
    return None if drawn is None else png(as_file(drawn))


def draw_letter(letter: Letter, words: Wording) -> Markup | None:
    """The chart of a letter; None where there is nothing to draw."""
    match letter:
        case EveningLetter():
            return _day(letter, words)
        case WeeklyLetter():
            return _week(letter, words)
        case BulletinLetter():
            return _counties(letter, words)


@lru_cache(maxsize=MOST_KEPT)
def png(svg: str) -> bytes:
    """A PNG with a reduced palette: a third of the bytes, with no visible difference.

    Kept, since readers of a farm who share a language and units get the same picture.
    """
    # Both are loaded with the first chart: no other command needs them.
    import resvg_py  # noqa: PLC0415 - for mails alone
    from PIL import Image  # noqa: PLC0415 - for mails alone

    drawn = resvg_py.svg_to_bytes(
        svg_string=svg, width=PNG_WIDTH, skip_system_fonts=True, font_files=[_font()]
    )
    written = io.BytesIO()
    with Image.open(io.BytesIO(drawn)) as picture:
        few = picture.convert("RGB").quantize(PNG_COLOURS, method=Image.Quantize.FASTOCTREE)
        few.save(written, format="png")
    return written.getvalue()


@cache
def _font() -> str:
    return str(files("service.delivery").joinpath("fonts", "DejaVuSans.ttf"))


def _day(letter: EveningLetter, words: Wording) -> Markup | None:
    """Tomorrow from midnight to midnight: when each block runs."""
    blocks = [block for block in letter.blocks if block.pulses][:MOST_ROWS]
    if not blocks:
        return None
    zone = ZoneInfo(letter.zone)
    midnight = datetime.combine(letter.day, datetime.min.time(), tzinfo=zone)
    rows = []
    for block in blocks:
        starts = [
            local.hour * 60.0 + local.minute
            for local in (pulse.starts_at.astimezone(zone) for pulse in block.pulses)
        ]
        spans = tuple(
            (start, start + pulse.duration_min)
            for start, pulse in zip(starts, block.pulses, strict=True)
        )
        rows.append(Row(clean(block.name), spans, words.minutes(block.planned_min)))
    hours = ["", *(words.clock(midnight.replace(hour=hour), letter.zone) for hour in (6, 12, 18))]
    return day_line(words.long_day(letter.day), "", rows, (), hours)


def _week(letter: WeeklyLetter, words: Wording) -> Markup | None:
    """Per block: irrigation applied and rain kept, against crop water use."""
    blocks = [block for block in letter.blocks if block.raw_mm is not None][:MOST_ROWS]
    if not blocks:
        return None
    scale = _scale(words)
    return week_bars(
        words.span(letter.first_day, letter.last_day),
        "",
        [
            WaterBar(
                label=clean(block.name),
                solid=block.applied_mm * scale,
                hatched=block.rain_kept_mm * scale,
                stroke=block.needed_mm * scale,
            )
            for block in blocks
        ],
        key=(words.gettext("Watered"), words.gettext("Rain kept"), words.gettext("Crop used")),
        unit=words.depth_unit,
    )


def _counties(letter: BulletinLetter, words: Wording) -> Markup | None:
    """The counties by need, the largest first."""
    rows = [county for county in letter.counties if county.rank > 0][:MOST_ROWS]
    if not rows:
        return None
    return ranked(
        words.span(letter.first_day, letter.last_day),
        "",
        [
            (clean(county.name), county.gross_need_mm, words.depth(county.gross_need_mm))
            for county in rows
        ],
    )


def _scale(words: Wording) -> float:
    return 1.0 / MM_PER_INCH if words.unit_system == "us" else 1.0
