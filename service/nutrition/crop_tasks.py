"""The tasks that a block's crop asks for: leaf and soil samples, acid, nitrogen, sulfur.

In: the facts of a block and a day. Out: one task for each window that has not closed, for each kind
of crop that the block's may be. How far apart soil samples lie, and the days of sulfur, are this
project's choice.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from service.nutrition.nutrient_dates import (
    MONTHS_TO_SOUTH,
    LastNitrogen,
    block_last_nitrogen,
    last_nitrogen_day,
)
from service.nutrition.sampling import sampling_days, yearly_days
from service.nutrition.tables import NutritionCrop, SamplingWindow, crops_of_block
from service.nutrition.task_days import (
    PLAIN_DAYS,
    BlockSeason,
    SeasonTask,
    Span,
    TakenSample,
    coming_days,
    counts_for,
    make_task,
    seasons_around,
    with_test,
)
from service.nutrition.task_words import (
    LATER_PART,
    NO_WATER_TEST,
    PETIOLES,
    STAGE_DECIDES,
    TASK_TEXTS,
    TaskKind,
)

SOIL_DAYS = ("09-15", "11-15")  # common practice: after harvest, before anything is spread
SOIL_EVERY_DAYS = {True: 365, False: 730}  # by whether the crop wants an acid soil
SOIL_EARLY_DAYS = 60  # [CHOICE]: a window may come so much before the interval is over
SULFUR_DAYS = (("03-01", "04-30"), ("09-15", "10-31"))  # [CHOICE]: early spring, autumn
SULFUR_AFTER_TEST_DAYS = 14
RETEST_DAYS = (90, 365)
LONGEST_NITROGEN_DAYS = 300
SAME_SEASON_DAYS = 90  # [CHOICE]: farther from the common days, a stage is of another year


def crop_tasks(facts: BlockSeason, day: date) -> list[SeasonTask]:
    """The tasks of a block that follow from its crop.

    Shapes: one block.
    Returns: tasks whose windows have not closed, however far away.
    Source: each task names its own.
    """
    kinds = _kinds(facts)
    found: list[SeasonTask] = []
    for part in (_leaves, _soil, _acid, _nitrogen, _sulfur):
        found += part(facts, kinds, day)
    return found


def _kinds(facts: BlockSeason) -> tuple[NutritionCrop, ...]:
    """What the crop may be: the kind of the newest leaf test, or every kind of its name."""
    kinds = crops_of_block(facts.crop_key)
    tested = {each.crop for each in facts.samples[:1]}
    return tuple(each for each in kinds if each.key in tested) or kinds


def _leaves(facts: BlockSeason, kinds: tuple[NutritionCrop, ...], day: date) -> list[SeasonTask]:
    """One task for each window, and for all kinds that share it."""
    sharing: dict[tuple[SamplingWindow, str], list[NutritionCrop]] = {}
    for kind in kinds:
        for window in kind.windows:
            taken = {(each.tissue, each.stage) for each in facts.samples}
            if window.is_usual or (window.tissue, window.stage) in taken:
                unsourced = replace(window, source="", looked_for_source="")
                sharing.setdefault((unsourced, kind.tissue_words), []).append(kind)
    found = []
    for (unsourced, _), crops in sharing.items():
        window = next(
            each
            for each in crops[0].windows
            if (each.tissue, each.stage) == (unsourced.tissue, unsourced.stage)
        )
        task = _leaf_task(facts, crops, window, day)
        if task is not None:
            found.append(task if len(kinds) > len(crops) else replace(task, crops=()))
    return found


def _leaf_task(
    facts: BlockSeason, crops: list[NutritionCrop], window: SamplingWindow, day: date
) -> SeasonTask | None:
    is_by_stage = not window.opens
    days = coming_days(lambda year: _sampling_days(facts, window, year), day)
    if days is None:
        return None
    own = [each.day for each in facts.samples if _is_of(each, window)]
    is_petiole = window.tissue == "petiole"
    noun = "petioles" if is_petiole else "leaves"
    count = f"About {window.common} {noun}, at least {window.least}: {crops[0].tissue_words}."
    text = TASK_TEXTS[TaskKind.LEAF_SAMPLE]
    title = PETIOLES if is_petiole else text.title
    if is_by_stage:
        title = f"{title}, {window.stage.replace('-', ' ')}"
    task = replace(
        make_task(TaskKind.LEAF_SAMPLE, days),
        detail=f"{crops[0].key}.{window.tissue}.{window.stage}",
        title=title,
        how=(*((STAGE_DECIDES,) if is_by_stage else ()), count, *text.how),
        source="; ".join(each for each in (window.source, window.looked_for_source) if each),
        crops=tuple(each.name for each in crops),
    )
    return with_test(task, max(own, default=None))


def _sampling_days(facts: BlockSeason, window: SamplingWindow, year: int) -> Span:
    """The days of a window in a year, counted from an earlier stage where that was sampled."""
    days = sampling_days(window, year, facts.latitude_deg)
    if window.after is not None:
        for sample in facts.samples:
            if (sample.tissue, sample.stage) == (window.tissue, window.after.stage):
                first, last = (sample.day + timedelta(days=each) for each in window.after.days)
                if abs((first - days[0]).days) <= SAME_SEASON_DAYS:
                    return first, last
    return days


def _is_of(sample: TakenSample, window: SamplingWindow) -> bool:
    return (sample.tissue, sample.stage) == (window.tissue, window.stage)


def _soil(facts: BlockSeason, kinds: tuple[NutritionCrop, ...], day: date) -> list[SeasonTask]:
    every = SOIL_EVERY_DAYS[any(each.ph.is_acid for each in kinds)]
    due = date.min
    if facts.soil_day is not None:
        due = facts.soil_day + timedelta(days=every - SOIL_EARLY_DAYS)

    def days_of(year: int) -> Span | None:
        days = yearly_days(*SOIL_DAYS, year, facts.latitude_deg)
        return days if days[1] >= due or counts_for(days, facts.soil_day) else None

    days = coming_days(days_of, day)
    return (
        [] if days is None else [with_test(make_task(TaskKind.SOIL_SAMPLE, days), facts.soil_day)]
    )


def _acid(facts: BlockSeason, kinds: tuple[NutritionCrop, ...], day: date) -> list[SeasonTask]:
    is_wanted = bool(kinds) and all(each.ph.is_acid for each in kinds)
    if not is_wanted or facts.water_needs_acid is False:
        return []
    days = min(each for each in seasons_around(facts, day) if each[1] >= day)
    how = TASK_TEXTS[TaskKind.ACID].how
    first = (NO_WATER_TEST,) if facts.water_needs_acid is None else ()
    detail = "untested" if first else ""
    return [replace(make_task(TaskKind.ACID, days), detail=detail, how=(*first, *how))]


def _nitrogen(facts: BlockSeason, kinds: tuple[NutritionCrop, ...], day: date) -> list[SeasonTask]:
    found = []
    last = _coming_last(facts, day)
    if last is not None:
        task = make_task(TaskKind.LAST_NITROGEN, (last.day, last.day))
        found.append(replace(task, source=last.origin))
    sharing: dict[tuple[date, date, str], list[str]] = {}
    for kind in kinds:
        days = _nitrogen_days(facts, kind, day, last)
        if days is not None:
            sharing.setdefault((*days, kind.months_source), []).append(kind.name)
    for (opens, closes, source), names in sharing.items():
        crops = tuple(names) if len(names) < len(kinds) else ()
        detail = "+".join(crops).lower().replace(" ", "-").replace(",", "")
        task = make_task(TaskKind.NITROGEN, (opens, closes))
        found.append(replace(task, detail=detail, source=source, crops=crops))
    return found


def _coming_last(facts: BlockSeason, day: date) -> LastNitrogen | None:
    for asked in (day, day + timedelta(days=PLAIN_DAYS)):
        last = block_last_nitrogen(
            facts.crop_key, asked, facts.latitude_deg, last_nitrogen_doy=facts.last_nitrogen_doy
        )
        if last is not None and last.day >= day:
            return last
    return None


def _nitrogen_days(
    facts: BlockSeason, kind: NutritionCrop, day: date, last: LastNitrogen | None
) -> Span | None:
    """From the first of the kind's first month to the last day, or to the end of its months."""
    if not kind.months:
        return None
    first_month, last_month = (
        month if facts.latitude_deg >= 0.0 else (month + MONTHS_TO_SOUTH - 1) % 12 + 1
        for month in (min(kind.months), max(kind.months))
    )
    years = (day.year, day.year + 1)
    own = [last_nitrogen_day(kind, year, facts.latitude_deg) for year in years]
    ends = [each.day for each in own if each is not None]
    if last is not None:
        closes = last.day
    else:
        ends = ends or [_end_of_month(year, last_month) for year in years]
        closes = min(each for each in ends if each >= day)
    opens = max(
        each for year in (closes.year - 1, closes.year)
        if (each := date(year, first_month, 1)) <= closes
    )  # fmt: skip
    return (opens, closes) if (closes - opens).days <= LONGEST_NITROGEN_DAYS else None


def _end_of_month(year: int, month: int) -> date:
    return date(year + month // 12, month % 12 + 1, 1) - timedelta(days=1)


def _sulfur(facts: BlockSeason, _: tuple[NutritionCrop, ...], day: date) -> list[SeasonTask]:
    """The first part in the first window after the soil test; each later one a year on."""
    if facts.soil_day is None or not facts.sulfur_parts:
        return []
    from_day = facts.soil_day + timedelta(days=SULFUR_AFTER_TEST_DAYS)
    spans = (
        yearly_days(*days, year, facts.latitude_deg)
        for days in SULFUR_DAYS
        for year in range(from_day.year - 1, from_day.year + 2)
    )
    first, last = min(each for each in spans if each[1] >= from_day)
    text, count = TASK_TEXTS[TaskKind.SULFUR], len(facts.sulfur_parts)
    found: list[SeasonTask] = []
    for place, part in enumerate(facts.sulfur_parts):
        days = _years_on(first, place), _years_on(last, place)
        how = text.how if place == 0 else (LATER_PART, *text.how)
        note = (
            f"Part {place + 1} of {count}: {part.kg_per_ha:.0f} kg/ha ({part.lb_per_ac:.0f} lb/ac)"
            f" of treated ground, by the soil test of {facts.soil_day}."
        )
        detail = f"part-{place + 1}"
        task = make_task(TaskKind.SULFUR, days)
        found.append(replace(task, detail=detail, how=how, note=note))
    from_day, until = (last + timedelta(days=each) for each in RETEST_DAYS)
    if count > 1:
        until = found[1].first_day - timedelta(days=1)
    return [*found, make_task(TaskKind.SOIL_RETEST, (from_day, until))]


def _years_on(day: date, years: int) -> date:
    return day.replace(year=day.year + years)
