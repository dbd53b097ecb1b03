"""The numbers of a block with their sources, and those of soil textures."""

from __future__ import annotations

from datetime import date
from typing import Literal, Self, cast

from pydantic import Field

from service.agronomy.soil import TextureGroup, texture_soil
from service.agronomy.units import NOMENCLATURE
from service.api.schemas.facts import Out, known
from service.api.schemas.pages import PageOut
from service.operations.reading.block_numbers import BlockNumber, BlockNumbers

Kind = Literal["given", "default", "derived"]


class BlockNumberOut(Out):
    """One number of a block."""

    name: str = Field(description="As in `GET /v1/blocks/{block_id}` and in plans.")
    value: float | None = Field(description="Null: none; `origin` says what that means.")
    unit: str | None = Field(description="Null for a plain number.")
    meaning: str | None = Field(description="What the number is.")
    kind: Kind = Field(description="Given, a default, or derived from other numbers.")
    origin: str = Field(description="`given`, the source of a default, or the sum that gives it.")

    @classmethod
    def from_record(cls, each: BlockNumber) -> Self:
        """The number with what the nomenclature says of it."""
        quantity = NOMENCLATURE.get(each.name)
        return cls(
            name=each.name,
            value=known(each.value),
            unit=None if quantity is None or quantity.unit == "1" else quantity.unit,
            meaning=None if quantity is None else quantity.meaning,
            kind=cast(Kind, each.kind),
            origin=each.origin,
        )


class BlockNumbersOut(Out):
    """All numbers of a block."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    day: date = Field(description="Local day as of which they are.")
    items: list[BlockNumberOut] = Field(description="Those derived first, then those stated.")

    @classmethod
    def from_record(cls, found: BlockNumbers) -> Self:
        """Every number of the block."""
        return cls(
            block_id=found.block.block_id,
            day=found.day,
            items=[BlockNumberOut.from_record(each) for each in (*found.derived, *found.stated)],
        )


class SoilOut(Out):
    """A soil texture with the numbers that it stands for."""

    texture: str = Field(description="As the key `texture` of a block's soil takes it.")
    field_capacity: float = Field(description="Soil water at field capacity, m³/m³.")
    wilting_point: float = Field(description="Soil water at wilting point, m³/m³.")
    saturated_conductivity_mm_per_h: float = Field(description="Saturated conductivity, mm/h.")
    grain: str = Field(description="Texture group: `coarse`, `medium` or `fine`.")
    source: str = Field(description="Where the numbers are from.")

    @classmethod
    def from_key(cls, texture_key: str) -> Self:
        """The numbers of a texture."""
        soil = texture_soil(texture_key)
        return cls(
            texture=texture_key,
            field_capacity=round(float(soil.field_capacity), 4),
            wilting_point=round(float(soil.wilting_point), 4),
            saturated_conductivity_mm_per_h=round(float(soil.saturated_conductivity_mm_per_h), 3),
            grain=TextureGroup(int(soil.texture_group)).name.lower(),
            source=soil.source,
        )


class SoilPageOut(PageOut[SoilOut]):
    """A page of soil textures, by key."""
