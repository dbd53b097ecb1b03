"""Figures of computed results: a row, the metered runs of a block, a supply's summers.

Each is a drawing for a page; ``service.drawing.frame.as_file`` makes a file of it. With a reader's
wording it uses that reader's language and units, otherwise English and SI, as the commands do.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from markupsafe import Markup

from service.drawing.bars import shares
from service.drawing.course import Mark, along, over_runs
from service.operations.reading.block_pipes import PipeReport
from service.operations.waterworks.assess_capacity import SupplyCapacity
from service.operations.waterworks.check_flow import FlowReport
from service.unit_sizes import L_PER_GALLON, M_PER_FOOT

if TYPE_CHECKING:
    from service.translations import Wording


def row_figure(report: PipeReport, words: Wording | None = None) -> Markup:
    """Flow along the row of a block that gets the least water."""
    gettext = _english if words is None else words.gettext
    per_flow, per_length, flow_unit, length_unit = 1.0, 1.0, "L/h", "m"
    if words is not None and words.unit_system == "us":
        per_flow, per_length = L_PER_GALLON, M_PER_FOOT
        flow_unit, length_unit = "gal/h", words.unit("ft")
    first = report.layout.first_segment_m
    begin = report.emitter_spacing_m if first is None else first
    flow = [each / per_flow for each in report.row.emitter_flow_l_per_h.tolist()]
    return along(
        gettext("{name}: emitter flow along the row", name=report.name),
        gettext(
            "From {least} to {most} {unit}.",
            least=f"{min(flow):.3g}", most=f"{max(flow):.3g}", unit=flow_unit,
        ),
        [(begin + report.emitter_spacing_m * place) / per_length for place in range(len(flow))],
        flow,
        x_label=gettext("distance from the row's inlet, {unit}", unit=length_unit),
        y_label=gettext("flow, {unit}", unit=flow_unit),
        name="row",
    )  # fmt: skip


def flow_figure(report: FlowReport, words: Wording | None = None) -> Markup:
    """Metered over expected volume of a block's runs, with what changed."""
    gettext = _english if words is None else words.gettext
    check = report.check
    days = [str(day) for day in report.days]
    if words is not None:
        days = [words.short_day(day) for day in report.days.astype("datetime64[D]").tolist()]
    marks = [Mark(jump.run, f"{100.0 * jump.change_fraction:+.0f} %") for jump in check.jumps]
    changes = [f"{days[jump.run]}: {100.0 * jump.change_fraction:+.0f} %" for jump in check.jumps]
    slow = check.slow_change
    if slow is not None:
        change = gettext("slowly {change}", change=f"{100.0 * slow.change_fraction:+.0f} %")
        marks.append(Mark(slow.from_run, change))
        changes.append(f"{days[slow.from_run]}: {change}")
    return over_runs(
        gettext("{name}: metered over expected volume", name=report.block_id),
        "; ".join([gettext(report.verdict.value), *changes]),
        check.ratio.tolist(),
        marks=marks,
        odd_runs=check.odd_runs,
        expected_label=gettext("as expected"),
        x_label=gettext("runs, in their order"),
        y_label=gettext("metered over expected"),
        ends=(days[0], days[-1] if len(days) > 1 else "") if days else ("", ""),
        name="flow",
    )


def capacity_figure(supply: SupplyCapacity, words: Wording | None = None) -> Markup:
    """Share of summers in which the supply keeps up, as it is and with each change."""
    gettext = _english if words is None else words.gettext

    def share(kept: float | None) -> str:
        if kept is None:
            return gettext("not possible")
        return f"{100.0 * kept:.0f} %" if words is None else words.percent(kept)

    bars = [(each.name, each.kept_share, share(each.kept_share)) for each in supply.changes]
    return shares(
        gettext("{name}: summers in which every block keeps up", name=supply.supply_id),
        "; ".join(f"{label}: {shown}" for label, _, shown in bars),
        bars,
        name="capacity",
    )


def text_profile(values: Sequence[float], *, columns: int = 60, rows: int = 8) -> list[str]:
    """Values along a line as rows of a terminal, the highest on top; dry places stay empty."""
    count = len(values)
    if count == 0:
        return []
    columns = min(columns, count)
    picked = [values[place * (count - 1) // max(columns - 1, 1)] for place in range(columns)]
    low, high = min(picked), max(picked)
    if high - low < 1e-9 * max(abs(high), 1.0):
        low = 0.0
    step = (high - low) / (rows - 1) or 1.0
    lines = []
    for row in range(rows - 1, -1, -1):
        level = low + row * step
        marks = "".join("*" if round((value - low) / step) == row else " " for value in picked)
        lines.append(f"{level:8.3f} |{marks}".rstrip())
    return lines


def _english(text: str, **values: object) -> str:
    return text.format(**values) if values else text
