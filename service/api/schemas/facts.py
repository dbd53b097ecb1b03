"""What many answers are made of: numbers without NaN, and flags with their words."""

from __future__ import annotations

import math
from collections.abc import Mapping

from pydantic import BaseModel, ConfigDict, Field

from service.agronomy.reasoning import PLAN_FLAG_TEXT, PlanFlag
from service.agronomy.weather_day import FLAG_TEXT, FieldFlag

SHOWN_DECIMALS = 6


class Out(BaseModel):
    """A model of answers."""

    model_config = ConfigDict(frozen=True)


class FlagOut(Out):
    """A fact that a reader should know besides the numbers."""

    name: str = Field(description="Name for programs; new names may come.")
    text: str = Field(description="The same in words.")


def known(value: object) -> float | None:
    """A finite number, no finer than it is known, or None: NaN and infinity are not JSON."""
    if isinstance(value, int | float) and math.isfinite(value):
        return round(float(value), SHOWN_DECIMALS)
    return None


def plan_flags(flags: int) -> list[FlagOut]:
    """The facts that the bits of a plan or ledger day stand for."""
    return _flags(flags, PLAN_FLAG_TEXT)


def field_flags(flags: int) -> list[FlagOut]:
    """The facts that the bits of a weather value stand for."""
    return _flags(flags, FLAG_TEXT)


def word(name: str) -> str:
    """A name of an enumeration as it stands in JSON."""
    return name.lower().replace("_", "-")


def _flags(flags: int, texts: Mapping[PlanFlag, str] | Mapping[FieldFlag, str]) -> list[FlagOut]:
    return [
        FlagOut(name=word(str(flag.name)), text=text)
        for flag, text in texts.items()
        if flags & flag
    ]
