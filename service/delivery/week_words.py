"""The text of the weekly mail and the county bulletin."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.crop_table import CROPS
from service.delivery.caution_words import CAUTIONS
from service.delivery.plain_text import clean
from service.delivery.season_words import task_days, task_title
from service.delivery.spread_words import need_band_words
from service.delivery.timer_words import week_timer_notes
from service.delivery.week_balance import balance_of, balance_words
from service.nutrition.task_words import TASK_TEXTS
from service.records.counties import CountyWeek
from service.records.letters import BlockWeek, BulletinLetter, ForecastNote, WeeklyLetter
from service.records.season import SampleReminder
from service.translations import Wording


@dataclass(frozen=True, slots=True)
class WeekRow:
    """One block of the week, or one county."""

    name: str
    cells: tuple[str, ...]
    notes: tuple[str, ...]
    timer_program_id: str = ""
    """The program that the notes say to set; empty for most."""
    said: str = ""
    """What a neighbor would say of it first; empty for a county."""


@dataclass(frozen=True, slots=True)
class ReminderWords:
    """A sample to take."""

    headline: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WeekWords:
    """The whole mail: a heading, a table, notes."""

    subject: str
    title: str
    span: str
    headline: str
    headings: tuple[str, ...]
    rows: tuple[WeekRow, ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    reminders: tuple[ReminderWords, ...] = ()
    also: str = ""
    """What comes after the headline."""
    shared_steps: tuple[str, ...] = ()
    """What holds for several of the samples, said once."""


def weekly_words(letter: WeeklyLetter, words: Wording) -> WeekWords:
    """Last week of a farm in the words of one reader."""
    known = [block for block in letter.blocks if block.raw_mm is not None]
    span = words.span(letter.first_day, letter.last_day)
    shared = _shared_steps(letter.reminders)
    return WeekWords(
        subject=clean(_week_subject(letter, known, words), longest=140),
        title=clean(letter.farm_name),
        span=span,
        headline=balance_words(balance_of(known), words)
        if known
        else words.gettext("Nothing is recorded for this week yet."),
        also=_also(known, words),
        headings=(
            words.gettext("Block"),
            words.gettext("Watered"),
            words.gettext("Crop used"),
            words.gettext("Rain"),
            words.gettext("Kept"),
            words.gettext("Soil short by"),
        ),
        rows=tuple(_block_row(block, words) for block in letter.blocks),
        remarks=(
            words.gettext("Depths in {unit} over the block.", unit=words.depth_unit),
            words.gettext(
                "Crop used: water the plants took up. Kept: rain that stayed in the root zone. "
                "Soil short by: water needed to refill the root zone at the end of the week."
            ),
        ),
        cautions=tuple(words.gettext(text) for text in CAUTIONS),
        sources=tuple(f"{each.text} ({each.url}, {each.licence})" for each in letter.attributions),
        reminders=tuple(
            _reminder(each, letter.last_day + ONE_DAY, shared, words) for each in letter.reminders
        ),
        shared_steps=tuple(words.gettext(text) for text in shared),
    )


def _shared_steps(reminders: Sequence[SampleReminder]) -> tuple[str, ...]:
    """Steps of every sample of a kind; those of a crop stay with their sample."""
    counts = Counter(
        text
        for each in reminders
        for text in each.group.task.how
        if text in TASK_TEXTS[each.group.task.kind].how
    )
    return tuple(text for text, count in counts.items() if count > 1)


def _reminder(
    reminder: SampleReminder, on: date, shared: Sequence[str], words: Wording
) -> ReminderWords:
    group = reminder.group
    return ReminderWords(
        headline=words.gettext(
            "{task}, {days}: {blocks}.",
            task=task_title(group, words),
            days=task_days(group.task, on, words),
            blocks=words.listed([clean(each) for each in reminder.block_names]),
        ),
        steps=tuple(words.gettext(each) for each in group.task.how if each not in shared),
    )


def _week_subject(letter: WeeklyLetter, known: Sequence[BlockWeek], words: Wording) -> str:
    facts = {
        "day": words.short_day(letter.last_day),
        "farm": clean(letter.farm_name, longest=40),
    }
    if not known:
        return words.gettext("Week to {day}: nothing on record - {farm}", **facts)
    balance = balance_of(known)
    return words.gettext(
        "Week to {day}: watered {watered} for {used} used - {farm}",
        watered=words.depth(balance.applied_mm),
        used=words.depth(balance.needed_mm),
        **facts,
    )


def _also(known: Sequence[BlockWeek], words: Wording) -> str:
    if not known:
        return ""
    short = [clean(block.name) for block in known if block.short_days_count]
    ran = (
        words.gettext("Ran short: {blocks}.", blocks=words.listed(short))
        if short
        else words.gettext("No block ran short.")
    )
    total = words.gettext(
        "{volume} applied in total.",
        volume=words.volume(sum(block.applied_l for block in known)),
    )
    return f"{ran} {total}"


def _block_row(block: BlockWeek, words: Wording) -> WeekRow:
    if block.raw_mm is None or block.depletion_end_mm is None:
        return WeekRow(
            clean(block.name),
            ("-",) * 5,
            (
                words.gettext("Nothing is recorded for this week yet."),
                *week_timer_notes(block.timer, words),
            ),
            _program_to_set(block),
        )
    return WeekRow(
        name=clean(block.name),
        cells=tuple(
            words.bare_depth(depth_mm)
            for depth_mm in (
                block.applied_mm,
                block.needed_mm,
                block.rain_mm,
                block.rain_kept_mm,
                block.depletion_end_mm,
            )
        ),
        notes=(*_block_notes(block, words), *week_timer_notes(block.timer, words)),
        timer_program_id=_program_to_set(block),
        said=balance_words(balance_of([block]), words),
    )


def _program_to_set(block: BlockWeek) -> str:
    return "" if block.timer is None else block.timer.program_id


def _block_notes(block: BlockWeek, words: Wording) -> tuple[str, ...]:
    notes = [words.gettext("{volume} applied.", volume=words.volume(block.applied_l))]
    if block.short_days_count:
        notes.append(
            words.ngettext(
                "Short in the afternoon on {count} day.",
                "Short in the afternoon on {count} days.",
                block.short_days_count,
            )
        )
    if block.assumed_days_count:
        notes.append(
            words.ngettext(
                "No runs reported on {count} day: the plan is assumed done.",
                "No runs reported on {count} days: the plan is assumed done.",
                block.assumed_days_count,
            )
        )
    if block.unobserved_days_count:
        notes.append(
            words.ngettext(
                "Weather for {count} day is still an estimate.",
                "Weather for {count} days is still an estimate.",
                block.unobserved_days_count,
            )
        )
    if block.flow_verdict:
        notes.append(
            words.gettext("Flow check: {verdict}.", verdict=words.gettext(block.flow_verdict))
        )
        if block.flow_change_fraction is not None:
            notes.append(
                words.gettext("Change: {change}.", change=words.percent(block.flow_change_fraction))
            )
    if block.rate_ratio is not None:
        notes.append(
            words.gettext(
                "By the meter, its emitters gave {share} of what plans count with ({count} runs)."
                " Its page lets coming plans count with that.",
                share=words.percent(block.rate_ratio),
                count=words.number(block.rate_run_count),
            )
        )
    return tuple(notes)


def bulletin_words(letter: BulletinLetter, words: Wording) -> WeekWords:
    """The counties in the words of one reader."""
    span = words.span(letter.first_day, letter.last_day)
    crop = CROPS.get(letter.crop_key)
    named = words.gettext(crop.name) if crop is not None else clean(letter.crop_key)
    return WeekWords(
        subject=clean(words.gettext("Water need by county, {span}", span=span), longest=140),
        title=words.gettext("Water need by county"),
        span=span,
        headline=_county_headline(letter, words),
        headings=(
            words.gettext("County"),
            words.gettext("Need"),
            words.gettext("Hours"),
            words.gettext("Rain"),
            words.gettext("ET"),
            words.gettext("of normal"),
        ),
        rows=tuple(_county_row(county, words) for county in letter.counties),
        remarks=(
            words.gettext(
                "For one reference block in every county: {block}, {crop}.",
                block=clean(letter.reference_name),
                crop=named,
            ),
            words.gettext(
                "Depths in {unit}. Need: gross irrigation, losses included. Hours: run time of "
                "the reference block. ET: reference evapotranspiration (grass) and its percentage "
                "of normal.",
                unit=words.depth_unit,
            ),
            *_forecast_remark(letter.forecast, words),
        ),
        cautions=tuple(words.gettext(text) for text in CAUTIONS[1:2]),
        sources=tuple(f"{each.text} ({each.url}, {each.licence})" for each in letter.attributions),
    )


def _forecast_remark(note: ForecastNote | None, words: Wording) -> tuple[str, ...]:
    if note is None:
        return ()
    text = words.ngettext(
        "Forecast of the next day over the last half year, in {count} county: rain off by {rain} a"
        " day.",
        "Forecast of the next day over the last half year, mean of {count} counties: rain off by"
        " {rain} a day.",
        note.county_count,
        rain=words.depth(note.rain_mae_mm),
    )
    if math.isfinite(note.et0_mae_mm):
        text += " " + words.gettext("Reference ET off by {et0}.", et0=words.depth(note.et0_mae_mm))
    return (text,)


def _county_headline(letter: BulletinLetter, words: Wording) -> str:
    known = [county for county in letter.counties if county.rank > 0]
    if not known:
        return words.gettext("No county has weather data for this week.")
    # A county on the season's normal is no match for one whose weather is known.
    ranked = [county for county in known if not county.stand_in_days_count] or known
    most, least = ranked[0], ranked[-1]
    text = words.gettext(
        "Most water: {county}, {depth}.",
        county=clean(most.name),
        depth=words.depth(most.gross_need_mm),
    )
    if most is least:
        return text
    return (
        text
        + " "
        + words.gettext(
            "Least: {county}, {depth}.",
            county=clean(least.name),
            depth=words.depth(least.gross_need_mm),
        )
    )


def _county_row(county: CountyWeek, words: Wording) -> WeekRow:
    return WeekRow(
        name=clean(county.name),
        cells=(
            _or_dash(words.bare_depth(county.gross_need_mm)),
            _or_dash(words.number(county.running_h, 1)),
            _or_dash(words.bare_depth(county.rain_mm)),
            _or_dash(words.bare_depth(county.reference_et_mm)),
            _or_dash(
                words.percent(county.percent_of_normal / 100.0)
                if math.isfinite(county.percent_of_normal)
                else "?"
            ),
        ),
        notes=_county_notes(county, words),
    )


def _county_notes(county: CountyWeek, words: Wording) -> tuple[str, ...]:
    # Without any weather there were no forecast days either.
    if not math.isfinite(county.gross_need_mm):
        return ()
    notes = []
    if county.stand_in_days_count:
        notes.append(
            words.ngettext(
                "Not to be held against the others: {count} day rests on the season's normal, the"
                " days around, or a place nearby.",
                "Not to be held against the others: {count} days rest on the season's normal, the"
                " days around, or a place nearby.",
                county.stand_in_days_count,
            )
        )
    if county.forecast_days_count:
        notes.append(
            words.ngettext(
                "{count} day of the week is a forecast.",
                "{count} days of the week are a forecast.",
                county.forecast_days_count,
            )
        )
    band = need_band_words(county, words)
    if band:
        notes.append(band)
    if math.isfinite(county.normal_need_mm):
        notes.append(
            words.gettext(
                "Normal for the week, without rain: {depth} net.",
                depth=words.depth(county.normal_need_mm),
            )
        )
    return tuple(notes)


def _or_dash(text: str) -> str:
    return "-" if text == "?" else text
