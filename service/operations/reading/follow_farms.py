"""Plans and runs of all farms that somebody may see, page by page and then what is new."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from service.agronomy.records import Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.records.feeds import FeedScope, FeedWish, PlanEntry, RunEntry

Entry = TypeVar("Entry")
MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class FeedPage(Generic[Entry]):
    """Some entries in the order in which they came, and whether there are more already."""

    entries: Sequence[Entry]
    has_more: bool


def follow_plans(
    wish: FeedWish, *, after: int, count: int, unit_of_work: UnitOfWorkFactory
) -> FeedPage[PlanEntry]:
    """Plans in force that were published after one, by its key; 0 for all from the first on.

    A plan that replaces another comes again with its new version. Raises NotFound for an unknown
    farm, InputInvalid for an unknown county or days that do not rise.
    """
    with unit_of_work(write=False) as unit:
        found = unit.feeds.list_plans(_scope(unit, wish), after=after, count=count + 1)
    return FeedPage(found[:count], len(found) > count)


def follow_runs(
    wish: FeedWish, *, after: tuple[int, int], count: int, unit_of_work: UnitOfWorkFactory
) -> FeedPage[RunEntry]:
    """Runs that were reported or corrected after one, by its change and key; (0, 0) for all.

    A run that is corrected comes again. Raises as :func:`follow_plans`.
    """
    with unit_of_work(write=False) as unit:
        found = unit.feeds.list_runs(_scope(unit, wish), after=after, count=count + 1)
    return FeedPage(found[:count], len(found) > count)


def _scope(unit: UnitOfWork, wish: FeedWish) -> FeedScope:
    first, last = wish.first_day, wish.last_day
    if first is not None and last is not None and last < first:
        raise InputInvalid(
            "there are no such days",
            [Fault("to", last.isoformat(), f"{first.isoformat()} or a later day")],
        )
    if wish.farm_id is not None:
        unit.blocks.get_farm(wish.farm_id)
    return FeedScope(
        farm_id=wish.farm_id,
        site_keys=_sites_of(unit, wish.county_codes) if wish.county_codes else None,
        first_day=wish.first_day,
        last_day=wish.last_day,
    )


def _sites_of(unit: UnitOfWork, county_codes: Collection[str]) -> Ints:
    """Keys of the sites of these counties; raises InputInvalid for an unknown one."""
    site_of = {county.county_code: county.site_id for county in unit.blocks.list_counties()}
    check_counties(county_codes, site_of)
    sites = {site_of[code] for code in county_codes}
    return np.array(sorted(unit.blocks.get_site_key(each) for each in sites), dtype=np.int64)


def check_counties(asked: Collection[str], known: Collection[str]) -> None:
    """Refuse codes of counties that are not stored; raises InputInvalid."""
    unknown = sorted(set(asked) - set(known))
    if unknown:
        some = ", ".join(sorted(known)[:MOST_NAMED])
        raise InputInvalid(
            "there is no such county",
            [Fault("county", ", ".join(unknown), f"codes of stored counties, such as {some}")],
        )
