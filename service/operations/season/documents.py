"""The season calendar as plain values, the same for the command line and the API."""

from __future__ import annotations

from typing import Any

from service.nutrition.season_tasks import GroupedTask
from service.records.season import SeasonCalendar


def season_document(calendar: SeasonCalendar) -> dict[str, Any]:
    """A farm's tasks."""
    return {
        "farm_id": calendar.farm_id,
        "first_day": calendar.first_day,
        "last_day": calendar.last_day,
        "tasks": [_task_document(each, calendar) for each in calendar.tasks],
        "cautions": [each.text for each in calendar.cautions],
    }


def _task_document(group: GroupedTask, calendar: SeasonCalendar) -> dict[str, Any]:
    task = group.task
    return {
        "key": group.key,
        "kind": task.kind.value,
        "first_day": task.first_day,
        "last_day": task.last_day,
        "title": task.title,
        "crops": list(task.crops),
        "reason": task.reason,
        "how": list(task.how),
        "source": task.source,
        "blocks": [
            {
                "block_id": block_id,
                "name": calendar.block_names[block_id],
                "done_on": own.done_on,
                "before_on": own.before_on,
                "note": own.note,
            }
            for block_id, own in group.blocks
        ],
    }
