"""What pages of plans share, the list of farms, and the sheet for the pump house."""

from __future__ import annotations

from datetime import date

from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.attributions import ATTRIBUTIONS
from service.errors import PlanNotFound
from service.operations.access.manage_keys import Right
from service.operations.mail.evening_mail import evening_letter
from service.operations.reading.read_farms import list_farms
from service.operations.schedule.rank_farms import rank_farms
from service.pages.farm_standing import block_count_text, finding, troubles
from service.pages.visit import Visit, redirect
from service.records.farms import FarmBundle, FarmDefinition
from service.records.letters import EveningLetter
from service.translations import Wording
from service.unit_sizes import L_PER_GALLON, L_PER_H_PER_GPH


def show_farms(visit: Visit) -> Response:
    """The farms that the visitor may see, worst first; a single one is opened directly."""
    visitor = visit.need(Right.PLAN_READ)
    service = visit.service
    standings = rank_farms(
        visitor.farm_ids,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        sources=tuple(service.settings.weather_services),
        evening_lead_min=service.settings.evening_lead_min,
    )
    if len(standings) == 1 and not visit.query:
        return redirect(f"/farms/{standings[0].farm.farm_id}/tomorrow")
    return visit.show(
        "farms.html",
        finding=finding(standings, visit.words),
        rows=[
            (each, block_count_text(each, visit.words), troubles(each, visit.words))
            for each in standings
        ],
    )


def farm_of(visit: Visit, right: Right = Right.PLAN_READ) -> FarmDefinition:
    """The farm in the address, if the visitor may see it; its units become the page's."""
    farm_id = visit.params.get("farm_id") or visit.params["block_id"].partition(".")[0]
    visit.need(right, farm_id)
    (farm,) = list_farms([farm_id], unit_of_work=visit.service.unit_of_work)
    visit.unit_system = farm.unit_system
    return farm


def flow_text(flow_l_per_h: float, words: Wording) -> str:
    """A flow with the unit of the reader."""
    if words.unit_system == "us":
        return words.gettext(
            "{flow} gal/min", flow=words.number(flow_l_per_h / L_PER_GALLON / 60.0, 1)
        )
    return words.gettext("{flow} m³/h", flow=words.number(flow_l_per_h / 1000.0, 1))


def emitter_flow_text(flow_l_per_h: float, words: Wording) -> str:
    """The flow of one emitter with the unit of the reader."""
    if words.unit_system == "us":
        return f"{words.number(flow_l_per_h / L_PER_H_PER_GPH, 3)} gal/h"
    return f"{words.number(flow_l_per_h, 2)} L/h"


def parsed_day(text: str) -> date | None:
    """A day from an address."""
    try:
        return date.fromisoformat(text) if len(text) == 10 else None
    except ValueError:
        return None


def asked_day(visit: Visit) -> date | None:
    """The day that the address asks for; None: none, or none that is one."""
    return parsed_day(visit.query.get("date", ""))


def letter_of(
    visit: Visit, farm: FarmDefinition, today: date
) -> tuple[EveningLetter, FarmBundle] | None:
    """The plans of the day asked for, else of tomorrow or today, and what the farm is made of then;
    None where there are no plans.
    """
    asked = asked_day(visit)
    for day in (asked,) if asked else (today + ONE_DAY, today):
        bundle = bundle_of(visit, farm, day)
        try:
            letter = evening_letter(
                farm,
                day,
                unit_of_work=visit.service.unit_of_work,
                attributions=ATTRIBUTIONS,
                blocks=bundle.blocks,
            )
        except PlanNotFound:
            continue
        return letter, bundle
    return None


def latest_day(visit: Visit, farm: FarmDefinition, today: date) -> date | None:
    """The last day that anything was planned for, by the farm's first block."""
    with visit.service.unit_of_work(write=False) as unit:
        blocks = unit.blocks.list_blocks(farm_id=farm.farm_id, day=today + ONE_DAY)
        return unit.plans.find_latest_day(blocks[0].block_id) if blocks else None


def has_blocks(visit: Visit, farm: FarmDefinition, day: date) -> bool:
    """Whether the farm has any block on a day."""
    with visit.service.unit_of_work(write=False) as unit:
        return bool(unit.blocks.list_blocks(farm_id=farm.farm_id, day=day))


def bundle_of(visit: Visit, farm: FarmDefinition, day: date) -> FarmBundle:
    """What the farm consists of on a day."""
    with visit.service.unit_of_work(write=False) as unit:
        return unit.blocks.get_bundle(farm.farm_id, day=day)
