"""The block that counties are compared with, made of a crop and an ordinary drip system.

In: a crop's key, the soil and the system in the words of a farm file, and a place. Out: the block,
and where its season is from. A crop always has one: as it is asked for, as published, or an
estimate that says so, since a question about a region must not fail for want of a date.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.agronomy.crop_table import CROPS, season_start_at
from service.ports import FarmFormat
from service.records.farms import BlockDefinition, FarmBundle, FarmDefinition, SiteDefinition


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceSystem:
    """What a reference block is made of, as farm files write it."""

    crop: str
    texture: str = "sandy loam"
    row_spacing: str = "10 ft"
    emitter_spacing: str = "18 in"
    emitter_flow: str = "0.5 gph"
    laterals_per_row: float = 1.0
    season_start: str | None = None
    """``MM-DD``; None: as published for the crop, or an estimate. So are the stages."""
    stage_lengths_day: Sequence[float | str] | None = None
    """Days of the initial, development, mid and late stage."""


@dataclass(frozen=True, slots=True)
class ReferenceBlock:
    """A reference block, and where its season is from."""

    block: BlockDefinition
    season_origin: str
    is_season_estimated: bool
    """Not as asked for: published for elsewhere, or an estimate."""


def reference_block(
    system: ReferenceSystem, site: SiteDefinition, *, farm_format: FarmFormat
) -> ReferenceBlock:
    """The block of one acre at a place.

    Raises InputInvalid, with the faults at their pointers in a block of a farm file.
    """
    season: dict[str, object] = {}
    if system.season_start is not None:
        season["start"] = system.season_start
    if system.stage_lengths_day is not None:
        season["lengths"] = list(system.stage_lengths_day)
    is_given = len(season) == 2
    crop = CROPS.get(system.crop)
    estimate = None if crop is None else crop.estimated_season
    if estimate is not None and not is_given:
        month, day = season_start_at(site.latitude_deg, estimate.season_start)
        assumed = {"start": f"{month:02}-{day:02}", "lengths": list(estimate.stage_lengths_day)}
        season = {**assumed, **season}
    bundle = FarmBundle(
        farm=FarmDefinition(farm_id="reference", name="Reference", zone=site.zone), sites=(site,)
    )
    document = {
        **farm_format.document(bundle),
        "supply": [{"id": "any", "flow": "100 m3/h"}],
        "block": [
            {
                "id": "block",
                "crop": system.crop,
                "area": "1 ac",
                "row_spacing": system.row_spacing,
                "emitter_spacing": system.emitter_spacing,
                "emitter_flow": system.emitter_flow,
                "laterals_per_row": system.laterals_per_row,
                "soil": {"texture": system.texture},
                "season": season or None,
            }
        ],
    }
    block = farm_format.parse(document, below="/block/0").blocks[0]
    return ReferenceBlock(
        block,
        season_origin=block.origins.get("curve", "")
        if is_given or estimate is None
        else f"estimate: {estimate.origin}; local dates are better",
        is_season_estimated=not is_given,
    )
