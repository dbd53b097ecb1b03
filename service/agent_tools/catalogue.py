"""The tools: what each is called, needs, is given, gives and does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from mcp_types import ToolAnnotations
from pydantic import BaseModel

from service.agent_tools import work
from service.agent_tools.arguments import (
    BalanceAsked,
    BlocksAsked,
    BlocksOut,
    CountiesAsked,
    CountyRankingOut,
    FarmPlansAsked,
    PlanAsked,
    RainReported,
)
from service.api.schemas.balances import BalanceOut
from service.api.schemas.bodies import RunIn
from service.api.schemas.explanations import ExplanationOut
from service.api.schemas.feedback import RainOut, RunsOut
from service.api.schemas.plans import FarmPlansOut, PlanOut
from service.operations.access.manage_keys import Right

READS: Final = ToolAnnotations(
    read_only_hint=True, destructive_hint=False, idempotent_hint=True, open_world_hint=False
)
CORRECTS: Final = ToolAnnotations(
    read_only_hint=False, destructive_hint=True, idempotent_hint=True, open_world_hint=False
)
"""Stores something; what is sent for the same time replaces what was there, and plans follow."""


@dataclass(frozen=True, slots=True)
class AgentTool:
    """One tool."""

    name: str
    title: str
    description: str
    right: Right
    annotations: ToolAnnotations
    arguments: type[BaseModel]
    answer: type[BaseModel]
    work: Callable[..., Any]
    """Takes the desk and the arguments, gives the answer."""


CATALOGUE: Final = (
    AgentTool(
        "list_blocks",
        "List blocks",
        "The blocks in use today, by id, with farm, crop, site, supply and ground area (m²). A"
        " block is the plants on one valve. Start here: the other tools take these ids.",
        Right.PLAN_READ,
        READS,
        BlocksAsked,
        BlocksOut,
        work.list_blocks,
    ),
    AgentTool(
        "get_plan",
        "Get a block's plan",
        "What to run on one block on one local day, by default the latest day planned (tomorrow,"
        " once the evening's run is done): pulses with local start and length (min), depths over"
        " the block (mm), volume (L), what could not be given and why, the outlook of the coming"
        " days, and the weather behind it. `status` is `water`, `rest` or `no-weather`;"
        " `taken_full_day` says that the plan rests on a guess of the soil's water.",
        Right.PLAN_READ,
        READS,
        PlanAsked,
        PlanOut,
        work.get_plan,
    ),
    AgentTool(
        "list_plans",
        "List a farm's plans",
        "The plans of all blocks of a farm for one local day, in brief: status, pulses, minutes"
        " (min), depths (mm) and volume (L).",
        Right.PLAN_READ,
        READS,
        FarmPlansAsked,
        FarmPlansOut,
        work.list_plans,
    ),
    AgentTool(
        "explain_plan",
        "Explain a block's plan",
        "Why a plan is as it is: each step from the weather to the minutes with its numbers put"
        " in, units and source, and the weather of the days with where each value comes from."
        " Quote these numbers rather than working them out.",
        Right.PLAN_READ,
        READS,
        PlanAsked,
        ExplanationOut,
        work.explain_plan,
    ),
    AgentTool(
        "get_balance",
        "Get a block's water balance",
        "The ledger of a block's root zone, day by day, all in mm over the block: rain,"
        " irrigation, crop use, drainage, and the depletion at the start and end of each day.",
        Right.PLAN_READ,
        READS,
        BalanceAsked,
        BalanceOut,
        work.get_balance,
    ),
    AgentTool(
        "compare_counties",
        "Compare the water need of counties",
        "Which counties need most water: net and gross need of one reference block in every"
        " county for a week (mm, inches, and volumes by area), run time (h), rain (mm), reference"
        " ET against its normal, and rank (1 for the largest net need). `week` = `next` with"
        " `crop` = `blueberry` is a whole question. Say what a row rests on (`rests_on`, days"
        " measured, forecast and stand-in) with its numbers, and that a season is an estimate"
        " where `season_is_estimate` says so. Each week starts with a full root zone.",
        Right.ADVISER,
        READS,
        CountiesAsked,
        CountyRankingOut,
        work.compare_counties,
    ),
    AgentTool(
        "report_run",
        "Report a run",
        "Store that a block's valve was open: when (with UTC offset), for how long (min; 0: it"
        " did not run), and the metered volume (L) if there is a meter. It replaces what the plan"
        " assumed, and balances and plans are worked out again before the answer. The same block"
        " and start again changes nothing; with other minutes it corrects the run. Report only"
        " what somebody saw or a device measured.",
        Right.WATER_WRITE,
        CORRECTS,
        RunIn,
        RunsOut,
        work.report_run,
    ),
    AgentTool(
        "record_rain",
        "Record a rain gauge reading",
        "Store a reading of a rain gauge (mm) at a site. It covers the time since the reading"
        " before and is booked to those local days; balances and plans are worked out again"
        " before the answer. The same reading again changes nothing; another amount for the same"
        " time corrects it and needs a reason in `note`. An unlikely amount is refused until"
        " `confirm` is true: ask the person who read it first.",
        Right.WATER_WRITE,
        CORRECTS,
        RainReported,
        RainOut,
        work.record_rain,
    ),
)
