"""Members of ensembles: as a service answers, and as they are kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from service.agronomy.member_calibration import LeadCorrection
from service.agronomy.records import Days, Floats, Ints
from service.records.weather import SourceProblem

ENSEMBLE_SOURCE = "open-meteo-ensemble"
ENSEMBLE_MEMBERS: Mapping[str, int] = {
    "ncep_gefs_seamless": 31,
    "ncep_gefs025": 31,
    "ncep_gefs05": 31,
    "ecmwf_ifs025_ensemble": 51,
    "ecmwf_aifs025_ensemble": 51,
    "dwd_icon_seamless_eps": 40,
    "dwd_icon_global_eps": 40,
    "dwd_icon_eu_eps": 40,
    "dwd_icon_d2_eps": 20,
    "cmc_gem_geps": 21,
    "bom_access_global_ensemble": 18,
    "ukmo_global_ensemble_20km": 18,
    "meteoswiss_icon_ch1_ensemble": 11,
    "meteoswiss_icon_ch2_ensemble": 21,
}
"""Models by the names of Open-Meteo's ensemble host, with their members, the control run included:
what a question for them counts against the quota."""

OLD_RUN_AFTER = timedelta(hours=12)
MEMBER_FIELDS: tuple[str, ...] = ("tmax_c", "tmin_c", "ea_kpa", "wind_m_s", "rs_mj_m2", "rain_mm")
"""What is known of a day of a member."""


@dataclass(frozen=True, slots=True)
class Allowance:
    """How much may still be asked for."""

    weight: float
    """In the service's own weights."""
    until: datetime
    """When there is more again."""


@dataclass(frozen=True, slots=True)
class ModelMembers:
    """What one model's members say of consecutive days at one site."""

    site_index: int
    model: str
    numbers: Ints
    """(members,) rising; 0 is the control run."""
    fields: Mapping[str, Floats]
    """(days, members) by name of ``MEMBER_FIELDS``; NaN where not known."""


@dataclass(frozen=True, slots=True)
class MembersAnswer:
    """The result of one call of an ensemble source."""

    days: Days
    parts: tuple[ModelMembers, ...]
    problems: tuple[SourceProblem, ...] = ()
    request_count: int = 0
    spent_weight: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredMembers:
    """The courses of one model at one site, as issued for an evening."""

    site_key: int
    model: str
    first_day: date
    """The day after that of the evening, by the site's calendar."""
    fetched_at: datetime
    first_seen_at: datetime
    """When the same courses came first: older than ``fetched_at`` where a model stands still."""
    given_count: int
    """Members that came."""
    hole_count: int
    """Members among them that were left out because something was missing."""
    frozen_count: int
    """Members that were left out because they still said what they had said the day before."""
    numbers: Ints
    """(members,) those that were kept; 0 is the control run."""
    rain_mm: Floats
    """(members, days) from ``first_day`` on, without gaps."""
    et0_mm: Floats
    """(members, days)"""
    correction: LeadCorrection | None = None
    """What earlier issues at the place have taught; None: nothing was observed there yet."""

    @property
    def is_old_run(self) -> bool:
        """Whether the model had not run since the evening before: most run every six hours."""
        return self.fetched_at - self.first_seen_at >= OLD_RUN_AFTER
