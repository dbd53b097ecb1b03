"""What is wrong with a farm, in words."""

from __future__ import annotations

from collections.abc import Sequence

from service.records.standing import FarmStanding
from service.translations import Wording


def finding(standings: Sequence[FarmStanding], words: Wording) -> str:
    """How many farms need somebody."""
    count = sum(each.needs_a_look for each in standings)
    if not count:
        return words.gettext("No farm needs a look.")
    return words.ngettext("{count} farm needs a look.", "{count} farms need a look.", count)


def block_count_text(standing: FarmStanding, words: Wording) -> str:
    """How large the farm is."""
    return words.ngettext("{count} block", "{count} blocks", standing.block_count)


def troubles(standing: FarmStanding, words: Wording) -> list[str]:
    """Each thing that is wrong, the gravest first; empty where nothing is."""
    return [
        *_plan_troubles(standing, words),
        *(
            words.gettext(
                "weather of {place} is old or ends too soon, measured up to {day}",
                place=place,
                day=words.short_day(day),
            )
            if day
            else words.gettext("no weather measured yet at {place}", place=place)
            for place, day in standing.stale_sites
        ),
        *(
            words.gettext(
                "controller {controller} silent since {moment}",
                controller=controller_id,
                moment=words.moment(polled_at, standing.farm.zone),
            )
            for controller_id, polled_at in standing.silent_controllers
        ),
    ]


def _plan_troubles(standing: FarmStanding, words: Wording) -> list[str]:
    said = []
    if standing.is_overdue:
        said.append(words.gettext("tomorrow's plan is overdue"))
    if standing.short_count:
        said.append(
            words.ngettext(
                "{count} block gets less than it needs on {day}",
                "{count} blocks get less than they need on {day}",
                standing.short_count,
                day=words.short_day(standing.plan_day) if standing.plan_day else "?",
            )
        )
    if standing.without_weather_count:
        said.append(
            words.ngettext(
                "{count} block has no plan for want of weather",
                "{count} blocks have no plan for want of weather",
                standing.without_weather_count,
            )
        )
    if standing.unreported_days_count:
        said.append(
            words.ngettext(
                "{count} day of the last seven not reported",
                "{count} days of the last seven not reported",
                standing.unreported_days_count,
            )
        )
    return said
