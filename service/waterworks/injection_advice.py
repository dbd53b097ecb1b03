"""What is said of a day's injection: how its pulses were changed, or why it does not fit.

In: pulses, minutes and times as of ``fertigation.plan_injection``. Out: advisories.
"""

from __future__ import annotations

from collections.abc import Sequence

from service.pulses import Pulse
from service.waterworks.caution import Advisory
from service.waterworks.injection_window import FLUSH_TRAVEL_RATIO, injection_window, pulse_windows

WHAT_HELPS = Advisory(
    "what-helps",
    "Inject on a day with a longer run, with a stronger stock solution in less time, or in two"
    " parts on two days.",
)


def changes(
    before: int, after: int, merged: int, added_min: int, spans: int
) -> tuple[Advisory, ...]:
    """How the pulses were changed for an injection.

    Shapes: scalars.
    before, after: pulses of the day; merged: how many were joined; added_min: water added.
    Returns: one advisory for each kind of change.
    """
    found = []
    if merged:
        text = (
            f"{merged} pulses were joined to one for the injection ({before} pulses became"
            f" {after}), with the same water. Longer pulses wet deeper: see that the soil has room."
        )
        found.append(Advisory("pulses-merged", text))
    if added_min:
        text = f"{added_min} min of water were added so that the lines are flushed clean."
        found.append(Advisory("water-added", text))
    if spans > 1:
        text = (
            f"The injection is split over {spans} pulses; the injector must stop with each"
            " of its spans."
        )
        found.append(Advisory("injection-split", text))
    return tuple(found)


def reasons(
    pulses: Sequence[Pulse],
    minutes: int,
    fill_min: float,
    travel_min: float,
    *,
    longest_pulse_min: float,
    largest_added_min: int,
    has_check: bool,
) -> tuple[Advisory, ...]:
    """Why an injection does not fit, and what would help.

    Shapes: pulses in order of time, scalars.
    Returns: advisories, at least one.
    Equation: filling + injection + 1.5 travel is what a pulse must hold.
    """
    if not pulses:
        return (Advisory("no-pulses", "Nothing runs on this day, so nothing can be injected."),)
    found = []
    flush = FLUSH_TRAVEL_RATIO * travel_min
    needed = max(fill_min, travel_min) + minutes + flush
    total = sum(pulse.duration_min for pulse in pulses)
    if len(pulses) == 1:
        window = injection_window(total, fill_min, travel_min)
        room = 0.0 if window is None else window.duration_min
        text = (
            f"The run of {total} min leaves {room:.0f} min for injection after the clean start and"
            f" before the flush; {minutes} min are needed."
        )
        found.append(Advisory("run-too-short", text))
    elif len(pulses) == 2:
        window = pulse_windows(pulses, fill_min, travel_min)[1]
        room = 0.0 if window is None else window.duration_min
        text = (
            f"Of the two pulses the first stays clean, since the second would wash its nutrients"
            f" down; the second of {pulses[1].duration_min} min leaves {room:.0f} min for injection"
            f" after filling and before a clean quarter; {minutes} min are needed."
        )
        found.append(Advisory("second-pulse-too-short", text))
    else:
        between = max(pulse.duration_min for pulse in pulses[1:-1])
        text = (
            f"The longest pulse between the first and the last has {between} min; filling,"
            f" {minutes} min of injection and the flush need {needed:.0f} min."
        )
        found.append(Advisory("pulse-too-short", text))
    if len(pulses) > 1:
        why = f"no pulse may be longer than {longest_pulse_min:.0f} min"
        if has_check:
            why += ", or soil, windows or supply do not allow a joined pulse"
        text = f"Joining pulses does not help: {why}, and all together make {total} min."
        found.append(Advisory("merging-does-not-help", text))
    if largest_added_min <= 0:
        found.append(Advisory("no-added-water", "No water may be added to lengthen a pulse."))
    else:
        text = f"The {largest_added_min} min of water that may be added do not suffice or fit."
        found.append(Advisory("added-water-too-little", text))
    return (*found, WHAT_HELPS)
