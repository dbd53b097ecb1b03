"""The field for what a grower would rather risk, of a block."""

from __future__ import annotations

from collections.abc import Mapping

from service.agronomy.risk_attitude import attitude_name
from service.farm_files.risk_file import ATTITUDES
from service.records.farms import BlockDefinition
from service.translations import Wording

FIELD = "risk_attitude"
Form = Mapping[str, str]
Table = dict[str, object]


def choices_of(words: Wording) -> list[tuple[str, str]]:
    """The attitudes in plain words."""
    texts = (
        words.gettext("the evening rule: refill at a set share, leave room for rain"),
        words.gettext("weigh the forecast, careful with the crop"),
        words.gettext("weigh the forecast, balanced"),
        words.gettext("weigh the forecast, careful with water and nitrate"),
    )
    return list(zip(ATTITUDES, texts, strict=True))


def entered_attitude(form: Form) -> Table:
    """The key that a farm file would hold; nothing where the evening rule was left as it is."""
    word = form.get(FIELD, "")
    return {} if word in ("", ATTITUDES[0]) else {FIELD: word}


def shown_attitude(block: BlockDefinition) -> dict[str, str]:
    """The field of a block as stored."""
    return {FIELD: attitude_name(block.risk_attitude)}


def with_attitude(table: Table, form: Form, shown: Form) -> Table:
    """The stored table of a block with what was chosen, if it was changed."""
    if FIELD not in form or form[FIELD] == shown.get(FIELD):
        return table
    origins = table.get("origins")
    if isinstance(origins, dict):
        origins.pop(FIELD, None)
    return {**table, FIELD: form[FIELD]}
