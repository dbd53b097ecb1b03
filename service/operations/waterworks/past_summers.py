"""The summers of the weather on record, each scheduled as the service would have."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from service.agronomy.records import Days, Floats
from service.errors import Fault, WeatherInvalid
from service.operations.review.hindcast import Hindcast, hindcast
from service.records.farms import FarmBundle
from service.records.studies import Tick

WARM_UP_DAYS = 60
"""Days before the summer in which the balance settles, if the weather reaches back that far."""
READ_BACK_DAYS = 150
"""Days before the summer whose weather counts towards degree days."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """The weather on record and its summers, the same for all supplies."""

    days: Days
    fields: Mapping[str, Floats]
    spans: Sequence[tuple[date, date]]
    season_year: int
    """Calendar year whose plant size is used in every summer."""


@dataclass(slots=True, kw_only=True)
class Summers:
    """The summers of one supply, each scheduled on demand."""

    past: Past
    progress: Tick
    left_out: dict[str, None] = field(default_factory=dict)
    """Summers whose weather is unusable, with the reason, in order."""
    done: int = 0
    """Number of seasons that have been run."""

    def whole_summers(self, bundle: FarmBundle) -> list[tuple[date, date, Hindcast]]:
        """First day, last day and schedule of each summer with complete weather."""
        found = []
        for first_day, last_day in self.past.spans:
            try:
                found.append((first_day, last_day, self._run(bundle, first_day, last_day)))
            except WeatherInvalid as error:
                self.left_out[f"{first_day} to {last_day}: {error.message}"] = None
            self._count()
        if not found:
            raise WeatherInvalid(
                "no summer of the weather is whole",
                [Fault("weather", each, "days without gaps") for each in self.left_out]
                or [Fault("weather", _covered(self.past.days), "at least one whole summer")],
            )
        return found

    def run(self, bundle: FarmBundle, first_day: date, last_day: date) -> Hindcast:
        """One summer of a changed farm."""
        found = self._run(bundle, first_day, last_day)
        self._count()
        return found

    def _run(self, bundle: FarmBundle, first_day: date, last_day: date) -> Hindcast:
        earliest = max(self.past.days[0].item(), first_day - timedelta(days=WARM_UP_DAYS))
        read_from = np.datetime64(first_day - timedelta(days=READ_BACK_DAYS))
        near = (self.past.days >= read_from) & (self.past.days <= np.datetime64(last_day))
        return hindcast(
            bundle,
            self.past.days[near],
            {name: values[near] for name, values in self.past.fields.items()},
            first_day=earliest,
            last_day=last_day,
        )

    def pass_over(self, runs: Sequence[object]) -> None:
        """As many seasons that were counted and need not be run."""
        for _ in runs:
            self._count()

    def _count(self) -> None:
        self.done += 1
        self.progress(self.done)


def _covered(days: Days) -> str:
    return "nothing" if days.size == 0 else f"{days[0]} to {days[-1]}"
