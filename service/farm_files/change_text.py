"""A change that is asked about, as people write it: flow, hours, emitters, rain."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from service.agronomy.records import WallWindow
from service.errors import Fault, InputInvalid
from service.farm_files.block_keys import BlockKeys
from service.farm_files.farm_keys import SupplyKeys
from service.farm_files.quantities import Measure, read_quantity
from service.farm_files.toml_table import TomlTable
from service.records.what_if import Change, ChangeTexts

T = TypeVar("T")
FLOW_EXAMPLES = "a flow or a share of it, such as '20 gpm', '4 m3/h', '50 %'"
_SHARE = Measure(noun="a share", unit="", lowest=0.01, highest=10.0, examples=("0.5", "50 %"))
_RAIN = Measure(noun="rain", unit="mm", lowest=0.0, highest=500.0, examples=("0.5 in", "12 mm"))


def read_change(texts: ChangeTexts) -> Change:
    """The change that texts give; raises InputInvalid with every fault, by parameter."""
    faults: list[Fault] = []

    def read(text: str | None, reader: Callable[[str], T]) -> T | None:
        if not text:
            return None
        try:
            return reader(text)
        except InputInvalid as error:
            faults.extend(error.faults)
            return None

    flow_l_per_h, fraction = read(texts.flow, _flow) or (None, None)
    change = Change(
        supply_flow_l_per_h=flow_l_per_h,
        supply_flow_fraction=fraction,
        windows=read(texts.windows, _windows) or (),
        emitter_flow_l_per_h=read(
            texts.emitter_flow,
            lambda text: read_quantity(text, BlockKeys.emitter_flow.measure, where="emitter_flow"),
        ),
        emitter_spacing_m=read(
            texts.emitter_spacing,
            lambda text: read_quantity(
                text, BlockKeys.emitter_spacing.measure, where="emitter_spacing"
            ),
        ),
        rain_mm=read(texts.rain, lambda text: read_quantity(text, _RAIN, where="rain")),
    )
    if faults:
        raise InputInvalid("the question cannot be answered", faults)
    return change


def _flow(text: str) -> tuple[float | None, float | None]:
    """A flow [L/h], or a share of the one there is."""
    try:
        return read_quantity(text, SupplyKeys.flow.measure, where="flow"), None
    except InputInvalid:
        try:
            return None, read_quantity(text, _SHARE, where="flow")
        except InputInvalid:
            fault = Fault("flow", repr(text), FLOW_EXAMPLES)
            raise InputInvalid("a flow that cannot be used", [fault]) from None


def _windows(text: str) -> tuple[WallWindow, ...]:
    """Hours of a day, parted by commas or spaces."""
    spans = text.replace(",", " ").split()
    faults: list[Fault] = []
    found = TomlTable({"windows": spans}, "", faults).windows(BlockKeys.windows)
    if faults:
        named = [Fault("windows", repr(text), each.allowed) for each in faults]
        raise InputInvalid("hours that cannot be used", named)
    return found
