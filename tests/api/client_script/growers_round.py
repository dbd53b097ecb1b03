"""A grower's round, written against a client that was generated from the OpenAPI document.

``test_generated_client.py`` generates the package ``rillwright_client``, puts this file beside it,
checks the types of both, and runs it. Only the document's names are used here.
"""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import TypeVar
from uuid import uuid4

from rillwright_client.api.controllers import get_program
from rillwright_client.api.farms import (
    create_farm,
    export_farm,
    get_farm,
    replace_farm,
    retire_farm,
)
from rillwright_client.api.feedback import report_rain, report_runs
from rillwright_client.api.lists import list_controllers
from rillwright_client.api.plans import explain_plan, get_plan
from rillwright_client.client import AuthenticatedClient
from rillwright_client.models.block_table import BlockTable
from rillwright_client.models.block_table_crop import BlockTableCrop
from rillwright_client.models.channel_table import ChannelTable
from rillwright_client.models.controller_page_out import ControllerPageOut
from rillwright_client.models.controller_table import ControllerTable
from rillwright_client.models.explanation_out import ExplanationOut
from rillwright_client.models.fallback_run_table import FallbackRunTable
from rillwright_client.models.farm_change_out import FarmChangeOut
from rillwright_client.models.farm_document_in import FarmDocumentIn
from rillwright_client.models.farm_document_out import FarmDocumentOut
from rillwright_client.models.farm_table import FarmTable
from rillwright_client.models.plan_out import PlanOut
from rillwright_client.models.problem_out import ProblemOut
from rillwright_client.models.program_answer_out import ProgramAnswerOut
from rillwright_client.models.rain_in import RainIn
from rillwright_client.models.rain_out import RainOut
from rillwright_client.models.run_batch_in import RunBatchIn
from rillwright_client.models.run_in import RunIn
from rillwright_client.models.runs_out import RunsOut
from rillwright_client.models.season_table import SeasonTable
from rillwright_client.models.site_table import SiteTable
from rillwright_client.models.soil_by_texture_table import SoilByTextureTable
from rillwright_client.models.soil_by_texture_table_texture import SoilByTextureTableTexture
from rillwright_client.models.supply_table import SupplyTable
from rillwright_client.types import Response

FARM, BLOCK, BOX, SITE = "creek-farm", "creek-farm.rows", "creek-farm.box", "creek"
DOCUMENT = FarmDocumentIn(
    farm=FarmTable(id=FARM, name="Creek Farm (invented)", zone="America/New_York"),
    site=[SiteTable(id=SITE, latitude=35.93, longitude=-79.25, elevation="520 ft")],
    supply=[SupplyTable(id="well", flow="30 gpm")],
    block=[
        BlockTable(
            id="rows",
            crop=BlockTableCrop.BLUEBERRY,
            area="0.5 ac",
            row_spacing="10 ft",
            emitter_spacing="18 in",
            emitter_flow="0.5 gph",
            soil=SoilByTextureTable(texture=SoilByTextureTableTexture.SANDY_LOAM),
            root_depth="18 in",
            season=SeasonTable(start="03-20", lengths=[25, 45, 110, 50]),
            initial_depletion="12 mm",
        )
    ],
    controller=[
        ControllerTable(
            id="box",
            channels=[
                ChannelTable(
                    channel=1,
                    block="rows",
                    fallback=[FallbackRunTable(start="05:00", duration="40 min")],
                )
            ],
        )
    ],
)
Answer = TypeVar("Answer")
Wanted = TypeVar("Wanted")


async def put_farm(client: AuthenticatedClient) -> None:
    """Create the farm, read it back and send back what was read."""
    created = await create_farm.asyncio_detailed(client=client, body=DOCUMENT)
    assert created.status_code is HTTPStatus.CREATED, created.content
    # The farm, its site, its supply, its block and its controller.
    assert _parsed(created, FarmChangeOut).counts.created_count == 5

    found = await get_farm.asyncio_detailed(FARM, client=client)
    farm = _parsed(found, FarmDocumentOut)
    assert isinstance(farm.block, list)
    assert farm.block[0].crop is BlockTableCrop.BLUEBERRY
    again = await replace_farm.asyncio_detailed(
        FARM,
        client=client,
        body=FarmDocumentIn.from_dict(farm.to_dict()),
        if_match=found.headers["ETag"],
    )
    counts = _parsed(again, FarmChangeOut).counts
    assert (counts.created_count, counts.changed_count) == (0, 0)


async def go_round(client: AuthenticatedClient) -> str:
    """Work with the farm once its plan is out, and give it up; gives the farm as a file."""
    plan = _parsed(await get_plan.asyncio_detailed(BLOCK, client=client), PlanOut)
    assert plan.pulses and plan.gross_mm > 0.0
    assert plan.planned_min == sum(pulse.duration_min for pulse in plan.pulses)
    why = _parsed(
        await explain_plan.asyncio_detailed(BLOCK, client=client, date=plan.day), ExplanationOut
    )
    assert why.version == plan.version and why.steps
    await _poll(client, plan)
    await _report(client)

    exported = await export_farm.asyncio_detailed(FARM, client=client)
    text = _parsed(exported, str)
    found = await get_farm.asyncio_detailed(FARM, client=client)
    refused = await retire_farm.asyncio_detailed(FARM, client=client, if_match='"an-older-state"')
    assert refused.status_code is HTTPStatus.PRECONDITION_FAILED
    assert _parsed(refused, ProblemOut).type_ == "/problems/precondition-failed"
    gone = await retire_farm.asyncio_detailed(FARM, client=client, if_match=found.headers["ETag"])
    assert _parsed(gone, FarmChangeOut).retired_count == 2  # its block and its controller
    return text


async def _poll(client: AuthenticatedClient, plan: PlanOut) -> None:
    boxes = _parsed(await list_controllers.asyncio_detailed(client=client), ControllerPageOut)
    assert [box.controller_id for box in boxes.items] == [BOX]
    polled = await get_program.asyncio_detailed(BOX, client=client)
    program = _parsed(polled, ProgramAnswerOut).program
    (channel,) = program.channels
    assert [minutes for _, _, minutes in channel.openings] == [
        pulse.duration_min for pulse in plan.pulses
    ]
    held = await get_program.asyncio_detailed(
        BOX, client=client, if_none_match=polled.headers["ETag"]
    )
    assert held.status_code is HTTPStatus.NOT_MODIFIED and not held.content


async def _report(client: AuthenticatedClient) -> None:
    run = RunIn(
        block_id=BLOCK,
        started_at=datetime(2026, 7, 14, 10, 0, tzinfo=UTC),
        duration_min=50,
        volume_l=1_500,
    )
    key = f'"{uuid4()}"'
    reports = [
        _parsed(
            await report_runs.asyncio_detailed(
                client=client, body=RunBatchIn(items=[run]), idempotency_key=key
            ),
            RunsOut,
        )
        for _ in range(2)
    ]
    assert reports[0] == reports[1]
    assert reports[0].counts.created_count == 1
    rain = await report_rain.asyncio_detailed(
        SITE, client=client, body=RainIn(rain_mm=4.5), idempotency_key=f'"{uuid4()}"'
    )
    assert _parsed(rain, RainOut).rain_mm == 4.5


def _parsed(answer: Response[Answer], wanted: type[Wanted]) -> Wanted:
    """What an answer holds, if it is what was hoped for."""
    found = answer.parsed
    assert isinstance(found, wanted), (answer.status_code, answer.content[:2000])
    return found
