"""Rillwright turns weather into drip irrigation plans for perennial fruit.

Each day it takes the weather of every site, checks and fills it, and computes reference
evapotranspiration after FAO-56 Penman-Monteith. Crop coefficients for stage, canopy and mulch turn
that into what each block used, and a root-zone water balance into what each block now lacks. The
lack becomes minutes of irrigation, cut into pulses short enough that none drains below the roots,
and the pulses of blocks on one supply are put in an order that the supply can deliver. The plan is
published once per day to the API, the pages, mail and calendars, and what was really applied comes
back as records that correct the next day's balance. Everything that computes is pure and lives in
``agronomy`` and ``waterworks``; everything that remembers, fetches or sends stands around it.
"""

__version__ = "0.1.0"
