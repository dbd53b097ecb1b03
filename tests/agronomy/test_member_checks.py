"""What speaks against the members of a site: each doubt has a flag and a sentence."""

import numpy as np

from service.agronomy.member_checks import FLAG_TEXT, MemberFlag, doubts, members_words
from service.agronomy.weather_members import MemberBatch, pooled_members

DAYS = np.arange("2026-07-01", "2026-07-08", dtype="datetime64[D]")


def members(rain_mm: float, et0_mm: float = 5.0) -> MemberBatch:
    shape = (20, 7)
    return pooled_members(
        DAYS, [[(np.full(shape, rain_mm), np.full(shape, et0_mm))]], fewest_count=15
    )


def doubted(
    batch: MemberBatch, rain_mm: float = 2.0, chance: float = 0.4, et0_mm: float = 5.0
) -> MemberFlag:
    flags = doubts(
        batch,
        forecast_rain_mm=np.full((1, 7), rain_mm),
        forecast_chance=np.full((1, 7), chance),
        forecast_et0_mm=np.full((1, 7), et0_mm),
    )
    return MemberFlag(int(flags[0]))


def test_members_that_agree_with_the_forecast_raise_no_doubt() -> None:
    assert doubted(members(2.5)) == MemberFlag(0)
    assert doubted(members(0.0), rain_mm=0.0, chance=0.05) == MemberFlag.ALL_DRY


def test_dry_members_are_set_aside_only_where_the_forecast_is_sure_of_rain() -> None:
    assert doubted(members(0.0), rain_mm=1.0, chance=0.8) == MemberFlag.ALL_DRY
    refused = doubted(members(0.0), rain_mm=4.0, chance=0.8)
    assert refused == MemberFlag.ALL_DRY | MemberFlag.DRY_AGAINST_FORECAST


def test_members_in_another_unit_are_set_aside() -> None:
    assert MemberFlag.OTHER_UNIT in doubted(members(2.0 * 25.4))  # inches taken for millimeters
    assert MemberFlag.OTHER_UNIT in doubted(members(2.0, et0_mm=5.0 * 3.6))
    assert MemberFlag.OTHER_UNIT not in doubted(members(8.0))


def test_a_site_without_members_raises_no_doubt() -> None:
    assert doubted(pooled_members(DAYS, [[]], fewest_count=15)) == MemberFlag(0)


def test_every_flag_has_a_sentence() -> None:
    assert set(FLAG_TEXT) == set(MemberFlag)
    both = members_words(int(MemberFlag.HOLES | MemberFlag.FROZEN))
    assert both == [FLAG_TEXT[MemberFlag.HOLES], FLAG_TEXT[MemberFlag.FROZEN]]
