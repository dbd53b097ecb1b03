"""Plans of a day and reported runs as tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

from service.agronomy.civil_day import wall_time
from service.operations.exports.columns import NOTES, InUnits, file_name, known, local
from service.operations.reading.read_plans import PlanView
from service.records.export import Cell, ExportTable
from service.records.farms import FarmDefinition
from service.records.feeds import RunEntry
from service.translations import Wording
from service.translations.catalogue import marked

STATUSES: Final = {
    "water": marked("water"),
    "rest": marked("no water"),
    "no-weather": marked("no weather"),
}
_PLANS = marked("Plans")
_PLANS_TEXT = marked(
    "One line for each pulse; a block that gets no water has one line without a start. Gross is"
    " what leaves the emitters, net what reaches the root zone; both are of the whole day."
)
_RUNS = marked("Runs")
_RUNS_TEXT = marked(
    "Runs as they were reported, the latest first, without those that were taken back. A metered"
    " volume that is not booked is questioned, and the minutes count in its place."
)


def plan_table(views: Sequence[PlanView], farm: FarmDefinition, words: Wording) -> ExportTable:
    """A line for each planned pulse of a farm's day."""
    inside = InUnits(words)
    columns = (
        inside.day(marked("Day")),
        inside.text(marked("Block")),
        inside.text(marked("Block id")),
        inside.text(marked("State")),
        inside.number(marked("Pulse")),
        inside.moment(marked("Start")),
        inside.moment(marked("End")),
        inside.number(marked("Minutes"), "min"),
        inside.number(marked("Minutes of the day"), "min"),
        inside.depth(marked("Gross of the day")),
        inside.depth(marked("Net of the day")),
        inside.volume(marked("Water of the day")),
    )
    rows: list[list[Cell]] = []
    for view in views:
        plan, reasoning = view.plan, view.plan.reasoning
        status = words.gettext(STATUSES.get(plan.status, plan.status))
        head: list[Cell] = [plan.day, view.block.name, plan.block_id, status]
        tail: list[Cell] = [
            plan.planned_min,
            inside.depth_cell(known(plan.gross_mm)),
            inside.depth_cell(known(plan.net_mm)),
            inside.volume_cell(known(reasoning.volume_l)),
        ]
        if not plan.pulses:
            rows.append([*head, None, None, None, None, *tail])
        for number, (start_min, duration_min) in enumerate(plan.pulses, 1):
            ends_at = wall_time(plan.day, start_min + duration_min, view.zone)
            times = (wall_time(plan.day, start_min, view.zone), ends_at)
            cells = (local(each, view.zone) for each in times)
            rows.append([*head, number, *cells, duration_min, *tail])
    days = [view.plan.day for view in views]
    span = (min(days, default=None), max(days, default=None))
    return ExportTable(
        name=file_name("plans", farm.farm_id, "" if span[0] is None else span[0].isoformat()),
        title=words.gettext(_PLANS),
        columns=columns,
        rows=rows,
        notes=inside.notes(farm, span, (_PLANS, _PLANS_TEXT)),
        notes_title=words.gettext(NOTES),
    )


def run_table(
    entries: Sequence[RunEntry],
    farm: FarmDefinition,
    words: Wording,
    *,
    block_names: Mapping[str, str],
    span: tuple[date | None, date | None],
) -> ExportTable:
    """A line for each reported run."""
    inside = InUnits(words)
    columns = (
        inside.day(marked("Day")),
        inside.text(marked("Block")),
        inside.text(marked("Block id")),
        inside.moment(marked("Start")),
        inside.number(marked("Minutes"), "min", 1),
        inside.volume(marked("Metered")),
        inside.text(marked("Metered volume booked")),
        inside.text(marked("Reported by")),
        inside.moment(marked("Reported at")),
    )
    yes, no = words.gettext(marked("yes")), words.gettext(marked("no"))
    rows: list[list[Cell]] = [
        [
            each.day,
            block_names.get(each.block_id, each.block_id),
            each.block_id,
            local(each.started_at, each.zone),
            each.duration_min,
            inside.volume_cell(each.volume_l),
            None if each.volume_l is None else yes if each.is_volume_booked else no,
            each.reporter,
            local(each.recorded_at, each.zone),
        ]
        for each in entries
    ]
    return ExportTable(
        name=file_name("runs", farm.farm_id),
        title=words.gettext(_RUNS),
        columns=columns,
        rows=rows,
        notes=inside.notes(farm, span, (_RUNS, _RUNS_TEXT)),
        notes_title=words.gettext(NOTES),
    )
