"""What a grower would rather risk, as a word of a farm file."""

from __future__ import annotations

from service.agronomy.risk_attitude import RiskAttitude
from service.farm_files.keys import ChoiceKey

ATTITUDES = tuple(each.name.lower().replace("_", "-") for each in RiskAttitude)
RISK_ATTITUDE = ChoiceKey(
    about="What to do with a forecast that may be wrong: the evening rule of trigger and rain_room"
    " (classic), or the least water that keeps the crop safe, careful with the crop, balanced, or"
    " careful with water and nitrate.",
    choices=ATTITUDES,
    default=ATTITUDES[0],
)
FIELD = "risk_attitude"
ORIGIN = "choice: the evening rule, until the grower decides otherwise"


def attitude_of(word: str) -> RiskAttitude:
    """The attitude that a word of a farm file means."""
    return RiskAttitude(ATTITUDES.index(word))


def word_of(attitude: RiskAttitude) -> str:
    """The word of a farm file for an attitude."""
    return ATTITUDES[attitude]
