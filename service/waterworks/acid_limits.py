"""How low a pH acid may bring irrigation water to: by crop, by time, by what the water passes.

In: the key of a crop, minutes of an injection, the materials behind the point of injection. Out:
the lowest pH with everything that was weighed, of which the highest binds. Whether a dose so low
may be named without a titration is decided elsewhere; maker and local code stand above all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from service.errors import Fault, InputInvalid
from service.waterworks.acid import CONTINUOUS_LINE_PH, LOWEST_TARGET_PH
from service.waterworks.crop_water import ACID_SOIL, crop_limits

SHORT_INJECTION_PH = 4.5
"""For crops of acid soils; common practice, no source."""
SHORT_INJECTION_MIN = 60.0  # [CHOICE]: somebody stays and watches for so long
LONGEST_INJECTION_MIN = 1440.0
CITRUS_SOURCE = (
    "University of Florida IFAS, FAWN, citrus microirrigation maintenance: pH 4.5 to 5.0 at the"
    " emitters"
)
FARM_PRESS = "J. Davis in Successful Farming, agriculture.com, tips for irrigation pipe"
COMMON = "common practice, no source"


@dataclass(frozen=True, slots=True)
class LimitPart:
    """One reason for a lowest pH."""

    key: str
    lowest_ph: float
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class AcidLimit:
    """The lowest pH, and what it follows from."""

    lowest_ph: float
    binding: LimitPart
    """The part that decides."""
    parts: tuple[LimitPart, ...]


_ACID_SOIL = LimitPart(
    "crop", SHORT_INJECTION_PH,
    "This crop wants acid soil: pH 4.5 in short, supervised injections is common practice.",
    ACID_SOIL,
)  # fmt: skip
_CITRUS = LimitPart(
    "crop", SHORT_INJECTION_PH,
    "For citrus pH 4.5 to 5.0 at the emitters is advised, and measured there.",
    CITRUS_SOURCE,
)  # fmt: skip
_OTHER_CROP = LimitPart(
    "crop", CONTINUOUS_LINE_PH,
    "For this crop no practice below pH 5.5 was found: it gains nothing from it. Emitters are"
    " cleaned with stronger acid only by their maker's instructions.",
    COMMON,
)  # fmt: skip
_UNKNOWN_CROP = LimitPart(
    "crop", CONTINUOUS_LINE_PH, "No crop was named: pH 5.5 as for most.", COMMON
)
_THROUGHOUT = LimitPart(
    "duration", CONTINUOUS_LINE_PH,
    "Acid during the whole irrigation: lines in use commonly stay at pH 5.5 or above. Lower only in"
    " short, supervised injections of up to 60 minutes.",
    COMMON,
)  # fmt: skip
_SHORT = LimitPart(
    "duration", LOWEST_TARGET_PH,
    "A short injection with somebody beside it sets no limit of its own: below pH 4 almost nothing"
    " buffers, and every dose is a guess.",
    "own choice",
)  # fmt: skip
_NOT_STATED = LimitPart(
    "installation", CONTINUOUS_LINE_PH,
    "What the acid water passes behind the point of injection is not stated: pH 5.5, since metal"
    " must be expected. Galvanized or bare steel and concrete do not even stand that.",
    COMMON,
)  # fmt: skip
MATERIALS: Mapping[str, LimitPart] = MappingProxyType(
    {
        part.key: part
        for part in (
            LimitPart(
                "plastic", LOWEST_TARGET_PH,
                "Polyethylene, PVC and polypropylene stand dilute acid.", COMMON,
            ),
            LimitPart(
                "stainless-steel", LOWEST_TARGET_PH,
                "Stainless steel stands dilute acid for short times, hydrochloric acid least.",
                COMMON,
            ),
            LimitPart("aluminum", 5.0, "Aluminum is attacked below pH 5.", FARM_PRESS),
            LimitPart("brass", 5.5, "Brass and bronze lose zinc and copper below pH 5.5.", COMMON),
            LimitPart(
                "galvanized-steel", 6.0, "The zinc of galvanized steel dissolves below pH 6.",
                FARM_PRESS,
            ),
            LimitPart("bare-steel", 6.0, "Bare steel and cast iron rust below pH 6.", COMMON),
            LimitPart(
                "concrete", 6.5, "Concrete and cement-lined pipe dissolve below pH 6.5.", COMMON
            ),
        )
    }
)  # fmt: skip
"""What water may pass, by key; the limit of each holds for any duration [CHOICE]."""


def acid_limit(
    crop_key: str | None, injection_min: float | None, materials: Sequence[str]
) -> AcidLimit:
    """The lowest pH that acid may bring a block's water to.

    Shapes: scalars, keys of ``MATERIALS``.
    crop_key: None where nobody named one; injection_min: of a short, supervised injection, None
    for acid during the whole irrigation; materials: all that the water passes behind the injector,
    none where it is not stated.
    Returns: AcidLimit; a material that is not known, or minutes out of range, raise
    ``InputInvalid``.
    Equation: the highest of the parts.
    >>> found = acid_limit("blueberry", 30.0, ["plastic", "brass"])
    >>> found.lowest_ph, found.binding.key
    (5.5, 'brass')
    """
    if injection_min is not None:
        check_minutes(injection_min)
    unknown = [key for key in materials if key not in MATERIALS]
    if unknown:
        raise InputInvalid(
            "what the water passes cannot be used",
            [Fault("materials", ", ".join(unknown), f"of {', '.join(MATERIALS)}")],
        )
    is_short = injection_min is not None and injection_min <= SHORT_INJECTION_MIN
    parts = (
        _crop_part(crop_key),
        _SHORT if is_short else _THROUGHOUT,
        *([MATERIALS[key] for key in dict.fromkeys(materials)] or [_NOT_STATED]),
    )
    binding = max(parts, key=lambda part: part.lowest_ph)
    return AcidLimit(binding.lowest_ph, binding, parts)


def check_minutes(injection_min: float) -> None:
    """Raise ``InputInvalid`` for minutes that no injection has.

    Shapes: scalars.
    Returns: nothing.
    Source: a minute at least, a day at most [CHOICE].
    """
    if not 1.0 <= injection_min <= LONGEST_INJECTION_MIN:
        allowed = f"1 to {LONGEST_INJECTION_MIN:g} minutes"
        raise InputInvalid(
            "this injection cannot be worked out",
            [Fault("injection_min", f"{injection_min:g} min", allowed)],
        )


def limit_texts() -> tuple[str, ...]:
    """Every reason that a limit may give: for translation.

    Shapes: result (texts,).
    Returns: texts.
    Source: this module.
    """
    parts = (_ACID_SOIL, _CITRUS, _OTHER_CROP, _UNKNOWN_CROP, _THROUGHOUT, _SHORT, _NOT_STATED)
    return tuple(part.text for part in (*parts, *MATERIALS.values()))


def _crop_part(crop_key: str | None) -> LimitPart:
    if crop_key is None:
        return _UNKNOWN_CROP
    if crop_limits(crop_key).needs_acid_soil:
        return _ACID_SOIL
    return _CITRUS if crop_key.startswith("citrus") else _OTHER_CROP
