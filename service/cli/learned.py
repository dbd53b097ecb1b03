"""The command ``learned``: what the soil readings of a season teach of a block."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.text import Text

from service.agronomy.learning_gate import MultiplierOffer, Refusal
from service.agronomy.learning_points import PARAMETERS
from service.agronomy.sensor_check import SensorState
from service.cli.terminal import (
    EXIT_UNFULFILLED,
    JsonOption,
    open_service,
    out,
    paragraph,
    print_json,
)
from service.operations.feedback.read_learned import LearnedBlock, SensorReport, read_learned

STATES = {
    SensorState.SOUND: "no doubt",
    SensorState.STUCK: "stuck: the same value, whatever the water; check cable and battery",
    SensorState.IN_AIR: "drier than any soil: out of the ground, or with a gap around it",
    SensorState.BROKEN: "wetter than the pores of a soil can hold: broken, or in standing water",
    SensorState.JUMPED: "off by the same since one day: moved or disturbed, or too near an emitter",
    SensorState.DRIFTING: "off by more and more: salts, battery or age",
    SensorState.NOISY: "off to both sides: a loose contact",
}
REFUSALS = {
    Refusal.NONE: "sure enough to be used",
    Refusal.FEW_READINGS: "too few readings: at least 8 over 21 days",
    Refusal.NO_DRYING: "the soil never dried enough between two waterings to tell",
    Refusal.SENSOR_IN_DOUBT: "a sensor was in doubt in the last 14 days",
    Refusal.DISAGREES: "no value explains the readings",
    Refusal.UNSURE: "not sure enough yet",
    Refusal.OUT_OF_BOUNDS: "beyond what can be believed",
    Refusal.SMALL_CHANGE: "as the plans have it",
    Refusal.TOO_SOON: "too soon after the last change",
}
NAMES = ("Crop's water use", "Water held by the soil", "Rate of the emitters")


def learned(
    block: Annotated[str, typer.Argument(help="Block whose soil readings to learn from.")],
    as_json: JsonOption = False,
) -> None:
    """Say what a season's soil readings teach of a block, and which sensors are in doubt.

    Plans do not use any of it. Exit code 1 if a sensor is in doubt.
    """
    service = open_service()
    found = read_learned(block, unit_of_work=service.unit_of_work, clock=service.clock)
    if as_json:
        print_json(_document(found))
    else:
        _print(found)
    if any(sensor.state is not SensorState.SOUND for sensor in found.sensors):
        raise typer.Exit(EXIT_UNFULFILLED)


def _document(found: LearnedBlock) -> dict[str, object]:
    return {
        "block_id": found.block_id,
        "first_day": found.first_day and found.first_day.isoformat(),
        "last_day": found.last_day and found.last_day.isoformat(),
        "sensors": [
            {
                "kind": sensor.kind,
                "top_depth_m": sensor.top_depth_m,
                "bottom_depth_m": sensor.bottom_depth_m,
                "state": sensor.state.name,
                "doubted_since": sensor.doubted_since and sensor.doubted_since.isoformat(),
                "reading_count": sensor.reading_count,
                "accepted_count": sensor.accepted_count,
            }
            for sensor in found.sensors
        ],
        "multipliers": {
            name: {
                "median": round(middle, 4),
                "likely": [round(end, 4) for end in offer.likely],
                "state": offer.refusal.name,
            }
            for name, offer, middle in zip(
                PARAMETERS, found.multipliers, found.medians, strict=False
            )
        },
        "depletion_mm": [round(depth, 2) for depth in found.depletion_mm],
        "depletion_without_readings_mm": [round(depth, 2) for depth in found.beforehand_mm],
        "ledger_depletion_mm": round(found.ledger_mm, 2) if found.first_day else None,
    }


def _print(found: LearnedBlock) -> None:
    if found.first_day is None or found.last_day is None:
        paragraph(f"{found.block_id} has no balance yet: nothing to learn from.")
        return
    title = f"{found.block_id}, readings since {found.first_day}, compared up to {found.last_day}"
    out.print(Text(title, style="bold"))
    if not found.sensors:
        paragraph("No soil readings of sensors: the bands below rest on usual spreads alone.")
    for sensor in found.sensors:
        paragraph(_sensor_text(sensor))
    for name, offer, middle in zip(NAMES, found.multipliers, found.medians, strict=True):
        paragraph(_multiplier_text(name, offer, middle))
    low, middle, high = found.depletion_mm
    paragraph(
        f"Depletion at the end of {found.last_day}: {middle:.1f} mm, with a chance of 80 %"
        f" between {low:.1f} and {high:.1f}; by the balance alone {found.ledger_mm:.1f}."
    )
    low, _, high = found.beforehand_mm
    paragraph(f"Without any reading it would be between {low:.1f} and {high:.1f} mm.")
    paragraph("The plans do not use any of this.")


def _sensor_text(sensor: SensorReport) -> str:
    layer = f"{100 * sensor.top_depth_m:.0f} to {100 * sensor.bottom_depth_m:.0f} cm"
    since = f" since {sensor.doubted_since}" if sensor.doubted_since else ""
    counts = f"{sensor.accepted_count} of {sensor.reading_count} readings count"
    return f"Sensor {sensor.kind}, {layer}: {STATES[sensor.state]}{since}; {counts}."


def _multiplier_text(name: str, offer: MultiplierOffer, middle: float) -> str:
    low, high = offer.likely
    change = f"{_percent(middle)} %, likely {_percent(low)} to {_percent(high)} %"
    return f"{name}: {change}; {REFUSALS[offer.refusal]}."


def _percent(multiplier: float) -> str:
    """What a multiplier adds or takes, in whole percent."""
    change = round(100.0 * (multiplier - 1.0))
    return f"{change:+d}" if change else "0"
