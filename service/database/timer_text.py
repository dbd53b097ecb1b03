"""What a timer can do, as the JSON that a block's version keeps."""

from __future__ import annotations

from functools import lru_cache

import orjson

from service.agronomy.week_ahead import DayRule
from service.records.timers import USUAL_SAFETY_FRACTION, TimerSettings


@lru_cache
def timer_text(timer: TimerSettings) -> str:
    """What a timer can do, as JSON."""
    return orjson.dumps(
        {
            "start_count": timer.start_count,
            "run_step_min": timer.run_step_min,
            "day_rule": int(timer.day_rule),
            "set_weekday": timer.set_weekday,
            # Left out as usual, so that blocks stored before keep their digest.
            **(
                {}
                if timer.safety_fraction == USUAL_SAFETY_FRACTION
                else {"safety_fraction": timer.safety_fraction}
            ),
        }
    ).decode()


@lru_cache
def timer_from(text: str) -> TimerSettings:
    """What a timer can do, from its JSON."""
    document = orjson.loads(text)
    return TimerSettings(**document | {"day_rule": DayRule(document["day_rule"])})
