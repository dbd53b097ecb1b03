"""Building blocks of answers: numbers without NaN, and flags with their texts."""

from __future__ import annotations

import math

from pydantic import BaseModel, ConfigDict, Field

from service.agronomy.weather_flags import FLAG_TEXT
from service.operations.evening.plan_rows import SHOWN_DECIMALS
from service.operations.evening.plan_texts import plan_flags_json, word


class Out(BaseModel):
    """A model of answers."""

    model_config = ConfigDict(frozen=True)


class FlagOut(Out):
    """Something to know besides the numbers."""

    name: str = Field(description="Machine-readable name; new names may be added.")
    text: str = Field(description="The same as text.")


def is_absent(value: object) -> bool:
    """Whether a member is left out of an answer, for fields that say so."""
    return value is None


def known(value: object) -> float | None:
    """A finite number, rounded to what is known, or None: NaN and infinity are not JSON."""
    if isinstance(value, int | float) and math.isfinite(value):
        return round(float(value), SHOWN_DECIMALS)
    return None


def plan_flags(flags: int) -> list[FlagOut]:
    """The flags set on a plan or ledger day."""
    return [FlagOut.model_validate(flag) for flag in plan_flags_json(flags)]


def field_flags(flags: int) -> list[FlagOut]:
    """The flags set on a weather value."""
    return [
        FlagOut(name=word(str(flag.name)), text=text)
        for flag, text in FLAG_TEXT.items()
        if flags & flag
    ]
