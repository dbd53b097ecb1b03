"""What a grower would rather risk, as a word of a farm file."""

from __future__ import annotations

from service.agronomy.risk_attitude import RiskAttitude, attitude_name
from service.farm_files.keys import ChoiceKey

ATTITUDES = tuple(attitude_name(each) for each in RiskAttitude)
RISK_ATTITUDE = ChoiceKey(
    about="What to do with a forecast that may be wrong: the evening rule of trigger and rain_room"
    " (classic), or the least water that keeps the crop safe, careful with the crop, balanced, or"
    " careful with water and nitrate.",
    choices=ATTITUDES,
    default=ATTITUDES[0],
)
FIELD = "risk_attitude"
ORIGIN = "choice: the evening rule, until the grower decides otherwise"
