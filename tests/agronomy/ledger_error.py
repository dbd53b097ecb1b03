"""What a ledger leaves unaccounted for: the check that every test of the balance runs."""

from __future__ import annotations

from service.agronomy.records import Floats
from service.agronomy.water_balance import DayLedger


def mass_balance_error_mm(ledger: DayLedger) -> Floats:
    """What a ledger fails to account for; anything but rounding is a fault of the program.

    Shapes: those of the ledger.
    ledger: one day or many.
    Returns: depth [mm]; NaN where the ledger is NaN.
    Equation: D_end - D_start - (ETc_adj - rain - irrigation + drainage + resize).
    """
    booked = (
        ledger.actual_crop_et_mm
        - ledger.rain_entering_mm
        - ledger.early_net_mm
        - ledger.day_net_mm
        + ledger.rain_drainage_mm
        + ledger.irrigation_drainage_mm
        + ledger.resize_mm
    )
    error: Floats = ledger.depletion_end_mm - ledger.depletion_start_mm - booked
    return error
