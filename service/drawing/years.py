"""Single values over years against the range in which they should be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import EDGE, WIDTH, axis_end, figure, text

_LEFT, _TOP, _DEEP = 44.0, 24.0, 130.0


@dataclass(frozen=True, slots=True)
class Sample:
    """One value at a time."""

    year: float
    """With its fraction."""
    value: float
    is_full: bool = True
    """False: drawn hollow."""


def over_years(
    title: str,
    description: str,
    samples: Sequence[Sample],
    *,
    band: tuple[float, float] | None,
    y_label: str,
    band_label: str,
    name: str,
) -> Markup:
    """Dots joined by a line, oldest first, over a band; a value of no full weight is hollow."""
    first, last = samples[0].year, samples[-1].year
    start, end = (first - 0.5, last + 0.5) if last - first < 1.0 else (first - 0.2, last + 0.2)
    highest = axis_end(1.05 * max([each.value for each in samples] + list(band or ())))

    def x(year: float) -> float:
        return _LEFT + (year - start) / (end - start) * (WIDTH - EDGE - _LEFT)

    def y(value: float) -> float:
        return _TOP + _DEEP * (1.0 - value / highest)

    body = [text(_LEFT, 14, y_label, css="small")]
    if band is not None:
        low, high = band
        body.append(
            f'<rect class="ground" x="{_LEFT}" y="{y(high):.1f}" width="{WIDTH - EDGE - _LEFT}"'
            f' height="{y(low) - y(high):.1f}"/>'
        )
        body.append(text(WIDTH - EDGE - 4, y(high) - 5, band_label, anchor="end", css="small"))
        body += [text(_LEFT - 4, y(end) + 4, f"{end:g}", anchor="end", css="small") for end in band]
    else:
        body.append(text(_LEFT - 4, _TOP + 8, f"{highest:g}", anchor="end", css="small"))
    body.append(f'<path class="axis" d="M{_LEFT} {_TOP}V{_TOP + _DEEP}H{WIDTH - EDGE}"/>')
    body.append(text(_LEFT - 4, _TOP + _DEEP + 4, "0", anchor="end", css="small"))
    if len(samples) > 1:
        path = "L".join(f"{x(each.year):.1f} {y(each.value):.1f}" for each in samples)
        body.append(f'<path class="line level" d="M{path}"/>')
    for each in samples:
        css = "site" if each.is_full else "site level0"
        body.append(
            f'<circle class="{css}" cx="{x(each.year):.1f}" cy="{y(each.value):.1f}" r="5"/>'
        )
    years = sorted({int(each.year) for each in samples})
    step = max(1, len(years) // 6)
    body += [
        text(x(year + 0.5), _TOP + _DEEP + 18, str(year), anchor="middle", css="small")
        for year in years[::step]
        if start <= year + 0.5 <= end
    ]
    return figure(title, description, body, height=_TOP + _DEEP + 26, name=name)
