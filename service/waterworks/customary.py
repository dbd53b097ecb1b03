"""Customary units of the United States in metric ones: what acid and fertiliser are bought in.

In: nothing. Out: sizes; NIST Handbook 44, Appendix C, exact.
"""

from __future__ import annotations

M2_PER_ACRE = 4046.8564224  # [m2] 43,560 international square feet
M2_PER_HECTARE = 10_000.0  # [m2]
KG_PER_POUND = 0.45359237  # [kg]
L_PER_GALLON = 3.785411784  # [L] 231 in3
FL_OZ_PER_GALLON = 128.0  # [fl oz]
LB_PER_AC_PER_KG_PER_HA = M2_PER_ACRE / M2_PER_HECTARE / KG_PER_POUND  # [lb/ac] 0.892179
