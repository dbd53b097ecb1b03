"""How good the forecast of a site was, in a terminal."""

from __future__ import annotations

import dataclasses
import math
from typing import Annotated

import numpy as np
import typer
from rich.text import Text

from service.bootstrap import Service
from service.cli.demo_clock import in_its_own_time
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    open_service,
    out,
    paragraph,
    plain_table,
    print_json,
)
from service.delivery.forecast_words import (
    TRUTH_TEXT,
    finding,
    flag_texts,
    lead_name,
    sentences,
)
from service.operations.reading.read_farms import list_farms
from service.operations.weather.read_forecast_quality import read_forecast_quality
from service.records.forecast_quality import LeadScores, SiteQuality, SourceQuality
from service.translations import Wording
from service.translations.wording import wording


def forecast_quality(
    site: Annotated[str, typer.Argument(help="Id of the site.")],
    farm: Annotated[
        str | None, typer.Option("--farm", help="Hold it against the gauge of this farm too.")
    ] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """How good the forecast was here: what was issued, held against what was observed."""
    service = in_its_own_time(open_service())
    (found,) = read_forecast_quality(
        [site],
        farm,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    if as_json:
        print_json(_plain(dataclasses.asdict(found)))
        return
    words = wording("en", (units or _own_units(service, farm)).value)
    out.print(Text(found.site_name or found.site_id, style="bold"))
    if not found.sources:
        since = "none are kept yet" if found.first_day is None else f"kept since {found.first_day}"
        paragraph(f"No forecast can be held against an observation yet ({since}).")
    for each in found.sources:
        _show(found, each, words)


def _own_units(service: Service, farm_id: str | None) -> UnitSystem:
    """Those of the farm, or of the first one where none is named."""
    farms = list_farms(None if farm_id is None else [farm_id], unit_of_work=service.unit_of_work)
    return UnitSystem(farms[0].unit_system if farms else "si")


def _show(site: SiteQuality, quality: SourceQuality, words: Wording) -> None:
    out.print()
    used = ", used by plans" if quality.is_in_use else ""
    out.print(f"{quality.source}{used}, {quality.first_day} to {quality.last_day}")
    paragraph(finding(quality, words))
    for text in (*sentences(quality, words), *flag_texts(site, quality, words)):
        paragraph(f"- {text}")
    paragraph(TRUTH_TEXT[quality.rain_truth])
    scored = [each for each in quality.leads if math.isfinite(each.rain.mae_mm)]
    if not scored:
        return
    unit = words.depth_unit
    table = plain_table(
        "Ahead", "Days", f"Rain off, {unit}", "bias", "skill", "Brier", f"ET0 off, {unit}", "skill",
        right=(1, 2, 3, 4, 5, 6, 7),
    )  # fmt: skip
    for lead in scored:
        table.add_row(*_row(lead, words))
    out.print(table)


def _row(lead: LeadScores, words: Wording) -> list[str]:
    return [
        lead_name(lead.lead_days, words),
        words.number(lead.rain.pair_count),
        words.bare_depth(lead.rain.mae_mm),
        words.bare_depth(lead.rain.bias_mm),
        words.percent(lead.rain.skill_ratio),
        words.number(lead.chance.brier, 3),
        words.bare_depth(lead.et0.mae_mm),
        words.percent(lead.et0.skill_ratio),
    ]


def _plain(value: object) -> object:
    """Records as JSON has them: arrays as lists, NaN as null."""
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, float):
        return round(value, 4) if math.isfinite(value) else None
    return value
