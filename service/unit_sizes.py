"""Sizes of units in other units, each written once for all rooms.

In: nothing. Out: constants. Source, unless a line gives another: NIST Handbook 44, Appendix C, and
exact.
"""

from __future__ import annotations

M_PER_INCH = 0.0254  # [m] international inch
MM_PER_INCH = 25.4  # [mm]
M_PER_FOOT = 0.3048  # [m] international foot, 12 in
M_PER_MILE = 1609.344  # [m] 5280 ft
M_PER_KM = 1000.0  # [m]
M_S_PER_MPH = M_PER_MILE / 3600.0  # [m/s] 0.44704
CUBIC_INCHES_PER_GALLON = 231.0  # [in3] US gallon
L_PER_GALLON = 3.785411784  # [L] 231 in3
FL_OZ_PER_GALLON = 128.0  # [fl oz]
L_PER_M3 = 1000.0  # [L]
L_PER_H_PER_GPH = L_PER_GALLON  # [L/h] gallon an hour
L_PER_H_PER_GPM = 60.0 * L_PER_GALLON  # [L/h] 227.125: gallon a minute
SQUARE_FEET_PER_ACRE = 43_560.0  # [ft2] on the international foot, not the survey foot
M2_PER_SQUARE_FOOT = M_PER_FOOT**2  # [m2] 0.09290304
M2_PER_ACRE = SQUARE_FEET_PER_ACRE * M_PER_FOOT**2  # [m2] 4046.8564224
M2_PER_HECTARE = 10_000.0  # [m2] SI Brochure 9, Table 8
CUBIC_INCHES_PER_ACRE_INCH = SQUARE_FEET_PER_ACRE * 144.0  # [in3] 144 in2 in a square foot
GALLONS_PER_ACRE_INCH = CUBIC_INCHES_PER_ACRE_INCH / CUBIC_INCHES_PER_GALLON  # [gal] 27,154.29
L_PER_ACRE_INCH = GALLONS_PER_ACRE_INCH * L_PER_GALLON  # [L] 102,790
L_PER_ACRE_FOOT = 12.0 * L_PER_ACRE_INCH  # [L] 1,233,482
KG_PER_POUND = 0.45359237  # [kg]
LB_PER_AC_PER_KG_PER_HA = M2_PER_ACRE / M2_PER_HECTARE / KG_PER_POUND  # [lb/ac] 0.892179
KG_PER_HA_PER_LB_PER_AC = 1.0 / LB_PER_AC_PER_KG_PER_HA  # [kg/ha] 1.120851
KPA_PER_PSI = 6.894757  # [kPa] as Handbook 44 rounds it
KPA_PER_BAR = 100.0  # [kPa]
KPA_PER_M_OF_HEAD = 9.80665  # [kPa/m] of water of 1000 kg/m3
FAHRENHEIT_PER_CELSIUS = 1.8  # [degF/degC] size of the degrees
FREEZING_POINT_F = 32.0  # [degF] 0 degC
MINUTES_PER_HOUR = 60.0  # [min]
MINUTES_PER_DAY = 1440  # [min] a civil day without a clock change
SECONDS_PER_DAY = 86_400.0  # [s] the same
KM_PER_DAY_PER_M_S = SECONDS_PER_DAY / 1000.0  # [km/d] 86.4
MJ_M2_DAY_PER_W_M2 = SECONDS_PER_DAY / 1e6  # [MJ/m2] 0.0864: 1 W/m2 as the mean of 24 hours
MJ_M2_PER_LANGLEY = 0.04184  # [MJ/m2] thermochemical calorie, 4.184 J, on a square centimetre
