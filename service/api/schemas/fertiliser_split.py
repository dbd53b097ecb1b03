"""Questions and answers about a season's need split over days and products."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.api.dependencies import CalendarDate
from service.api.schemas.facts import Out
from service.api.schemas.queries import In
from service.api.schemas.waterworks import AdvisoryOut, FertiliserOut, plain
from service.operations.waterworks.split_need import SeasonSplit, SplitDay, SplitRequest
from service.waterworks.season_split import MOST_PRODUCTS, NutrientNeed

MOST_DAYS = 200


class SplitQuery(In):
    """A season's need as elements, its days, and the products that bring it."""

    product: list[str] = Field(
        min_length=1,
        max_length=MOST_PRODUCTS,
        description="Keys of products, once for each.",
        examples=[["ammonium-sulfate", "potassium-sulfate"]],
    )
    day: list[CalendarDate] = Field(
        min_length=1,
        max_length=MOST_DAYS,
        description="Fertigation days, once for each.",
        examples=[["2026-04-01", "2026-05-01"]],
    )
    nitrogen_kg_per_ha: float = Field(0.0, ge=0.0, lt=1e4, description="Nitrogen, kg/ha.")
    phosphorus_kg_per_ha: float = Field(
        0.0, ge=0.0, lt=1e4, description="Phosphorus as element, kg/ha."
    )
    potassium_kg_per_ha: float = Field(
        0.0, ge=0.0, lt=1e4, description="Potassium as element, kg/ha."
    )
    calcium_kg_per_ha: float = Field(0.0, ge=0.0, lt=1e4, description="Calcium, kg/ha.")
    magnesium_kg_per_ha: float = Field(0.0, ge=0.0, lt=1e4, description="Magnesium, kg/ha.")
    sulfur_kg_per_ha: float = Field(0.0, ge=0.0, lt=1e4, description="Sulfur, kg/ha.")
    last_nitrogen_day: CalendarDate | None = Field(
        None,
        description="Last day for nitrogen; defaults to the block's own, or to that of its crop and"
        " place.",
    )

    def request(self, block_id: str) -> SplitRequest:
        """The question as the operation takes it."""
        return SplitRequest(
            block_id=block_id,
            need=NutrientNeed(
                nitrogen_kg_per_ha=self.nitrogen_kg_per_ha,
                phosphorus_kg_per_ha=self.phosphorus_kg_per_ha,
                potassium_kg_per_ha=self.potassium_kg_per_ha,
                calcium_kg_per_ha=self.calcium_kg_per_ha,
                magnesium_kg_per_ha=self.magnesium_kg_per_ha,
                sulfur_kg_per_ha=self.sulfur_kg_per_ha,
            ),
            days=tuple(self.day),
            product_keys=tuple(self.product),
            last_nitrogen_day=self.last_nitrogen_day,
        )


class NutrientAccountOut(Out):
    """What of a nutrient was asked for, and what the products bring."""

    nutrient: str = Field(description="As element; new names may be added.")
    asked_kg_per_ha: float = Field(description="Asked for, kg/ha; 0: it comes along.")
    given_kg_per_ha: float = Field(description="Given, kg/ha; less than asked for: it is missing.")


class ProductMassOut(Out):
    """How much of a product goes out."""

    product_key: str = Field(description="Key of the product.")
    mass_kg: float = Field(description="Over the whole block, kg.")
    mass_kg_per_ha: float = Field(description="On a hectare of the block, kg.")


class SplitDayOut(Out):
    """One event."""

    day: date
    is_after_last_nitrogen: bool = Field(description="No nitrogen is planned on this day.")
    products: list[ProductMassOut] = Field(description="Only those of which something goes out.")
    accounts: list[NutrientAccountOut] = Field(description="Nutrients of this event.")


class SplitOut(Out):
    """A split season. Numbers, never an instruction; show its cautions first."""

    cautions: list[AdvisoryOut] = Field(
        description="Cautions for every injection; must be shown, before the numbers."
    )
    block_id: str
    area_ha: float = Field(description="Ground of the block, ha.")
    days: list[SplitDayOut] = Field(description="Events, by day.")
    accounts: list[NutrientAccountOut] = Field(description="Nutrients of the season.")
    products: list[FertiliserOut] = Field(description="What the products hold.")
    last_nitrogen_day: date | None = Field(description="Last day for nitrogen, if one is known.")
    last_nitrogen_origin: str = Field(description="Where it is from.")
    advisories: list[AdvisoryOut] = Field(
        description="What is missing, comes along or is more than is common."
    )

    @classmethod
    def from_record(cls, found: SeasonSplit) -> Self:
        """The answer."""
        last = found.last_nitrogen
        return cls(
            cautions=_advisories(found.cautions),
            block_id=found.block_id,
            area_ha=plain(found.area_ha),
            days=[_day_out(each, found) for each in found.days],
            accounts=_accounts(found.accounts),
            products=[FertiliserOut.from_record(each) for each in found.products],
            last_nitrogen_day=None if last is None else last.day,
            last_nitrogen_origin="" if last is None else last.origin,
            advisories=_advisories(found.advisories),
        )


def _day_out(each: SplitDay, found: SeasonSplit) -> SplitDayOut:
    return SplitDayOut(
        day=each.need.day,
        is_after_last_nitrogen=each.need.is_after_last_nitrogen,
        products=[
            ProductMassOut(
                product_key=product.key,
                mass_kg=plain(mass_kg),
                mass_kg_per_ha=plain(mass_kg / found.area_ha),
            )
            for product, mass_kg in zip(found.products, each.product_kg, strict=True)
            if mass_kg > 0.0
        ],
        accounts=_accounts(each.accounts),
    )


def _accounts(accounts: object) -> list[NutrientAccountOut]:
    return [NutrientAccountOut.model_validate(each) for each in plain(accounts)]


def _advisories(advisories: object) -> list[AdvisoryOut]:
    return [AdvisoryOut.model_validate(each) for each in plain(advisories)]
