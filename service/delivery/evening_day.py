"""The beginning of tomorrow's plan by mail: the one act, each opening in order, what is urgent."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from service.agronomy.civil_day import ONE_DAY
from service.delivery.day_order import BlockState, most_urgent_first, state_of, waiting_mm
from service.delivery.day_words import ClockTime, first_to_come, is_midnight_tonight
from service.delivery.plain_text import clean
from service.delivery.spread_words import site_sky
from service.records.letters import BlockLine, EveningLetter, PulseLine
from service.translations import Wording

LONGEST_IN_SUBJECT = 40
MOST_SHORT_NAMED = 3
"""[CHOICE] Short blocks named at the top; more are counted, and named below."""


@dataclass(frozen=True, slots=True)
class ActWords:
    """What to open first; without a time there is nothing to open."""

    over: str
    """The day, and what is done."""
    what: str
    """The block, or that there is nothing to do."""
    time: ClockTime | None
    facts: tuple[str, ...]

    @property
    def line(self) -> str:
        """All of it on one line, which is the first of the plain text."""
        if self.time is None:
            return " ".join((self.over, f"{self.what}.", *self.facts))
        clock = f"{self.time.time} {self.time.half}".rstrip()
        return f"{self.over}, {clock}, {self.what} ({', '.join(self.facts)})."


@dataclass(frozen=True, slots=True)
class OpeningWords:
    """One pulse: a valve is opened and closed."""

    opens: str
    closes: str
    block: str
    minutes: str
    """The number alone; its heading has the unit."""
    line: str
    """All of it on one line, with the unit."""


def subject_of(letter: EveningLetter, words: Wording) -> str:
    """What a list of mails shows: the day, how many blocks, and the first opening."""
    farm = clean(letter.farm_name, longest=LONGEST_IN_SUBJECT)
    facts = {"day": words.weekday(letter.day), "farm": farm}
    runs = _runs(letter)
    if not runs:
        is_known = any(line.status == "rest" for line in letter.blocks)
        if is_known:
            return words.gettext("{day}: no water - {farm}", **facts)
        return words.gettext("{day}: NO PLAN - {farm}", **facts)
    line, pulse = runs[0]
    start = words.clock(pulse.starts_at, letter.zone)
    if len(letter.blocks) == 1:
        return words.gettext(
            "{day}: water {minutes}, first {start} - {farm}",
            minutes=words.minutes(line.planned_min),
            start=start,
            **facts,
        )
    return words.gettext(
        "{day}: water {count} of {total}, first {start} {block} - {farm}",
        count=words.number(sum(1 for each in letter.blocks if each.pulses)),
        total=words.number(len(letter.blocks)),
        start=start,
        block=clean(line.name, longest=LONGEST_IN_SUBJECT),
        **facts,
    )


def act_words(letter: EveningLetter, words: Wording, read_on: date) -> ActWords:
    """The act that the mail opens with; ``read_on`` is the day of reading."""
    runs = _runs(letter)
    if not runs:
        is_known = any(line.status != "no-weather" for line in letter.blocks)
        return ActWords(
            over=_nothing_over(letter, words, read_on, is_known=is_known),
            what=(
                words.gettext("Keep all valves closed") if is_known else words.gettext("No plan")
            ),
            time=None,
            facts=first_to_come(letter, words),
        )
    line, pulse = runs[0]
    # A plan that is late, or changes overnight, is read on the day it is for.
    day = words.long_day(letter.day)
    if read_on == letter.day:
        over = words.gettext("Today, {day}: open first", day=day)
    elif read_on == letter.day - ONE_DAY:
        over = words.gettext("Tomorrow, {day}: open first", day=day)
    else:
        over = words.gettext("{day}: open first", day=day)
    share = pulse.duration_min / line.planned_min if line.planned_min else 0.0
    is_midnight = is_midnight_tonight(pulse.starts_at, letter, read_on)
    return ActWords(
        over=over,
        what=clean(line.name),
        time=ClockTime.of(pulse.starts_at, letter.zone, words),
        facts=(
            *((words.gettext("midnight tonight"),) if is_midnight else ()),
            words.gettext("close at {time}", time=words.clock(pulse.ends_at, letter.zone)),
            words.minutes(pulse.duration_min),
            words.volume(line.volume_l * share),
        ),
    )


def _nothing_over(letter: EveningLetter, words: Wording, read_on: date, *, is_known: bool) -> str:
    day = words.long_day(letter.day)
    if read_on == letter.day:
        if is_known:
            return words.gettext("No water today, {day}.", day=day)
        return words.gettext("NO PLAN for today, {day}: no weather data.", day=day)
    if read_on == letter.day - ONE_DAY:
        if is_known:
            return words.gettext("No water tomorrow, {day}.", day=day)
        return words.gettext("NO PLAN for tomorrow, {day}: no weather data.", day=day)
    if is_known:
        return words.gettext("No water on {day}.", day=day)
    return words.gettext("NO PLAN for {day}: no weather data.", day=day)


def day_headline(letter: EveningLetter, words: Wording) -> str:
    """The day in one sentence that holds whenever it is read, as on a printed sheet."""
    count = sum(1 for line in letter.blocks if line.planned_min > 0)
    if not count:
        is_known = any(line.status != "no-weather" for line in letter.blocks)
        return _nothing_over(letter, words, date.min, is_known=is_known)
    day = words.long_day(letter.day)
    if len(letter.blocks) == 1:
        return words.gettext("Water on {day}.", day=day)
    return words.gettext(
        "Water {count} of {total} blocks on {day}.",
        count=words.number(count),
        total=words.number(len(letter.blocks)),
        day=day,
    )


def opening_words(letter: EveningLetter, words: Wording) -> tuple[OpeningWords, ...]:
    """Every pulse of the farm by the clock."""
    found = []
    for line, pulse in _runs(letter):
        opens, closes = (
            words.clock(instant, letter.zone) for instant in (pulse.starts_at, pulse.ends_at)
        )
        span = words.gettext(
            "{start} to {end}, {minutes}",
            start=opens,
            end=closes,
            minutes=words.minutes(pulse.duration_min),
        )
        name = clean(line.name)
        found.append(
            OpeningWords(opens, closes, name, words.number(pulse.duration_min), f"{span}: {name}")
        )
    return tuple(found)


def short_words(letter: EveningLetter, words: Wording) -> str:
    """Which blocks get less than they need, beyond what is worth a word; empty where none does."""
    short = [
        line for line in most_urgent_first(letter.blocks) if state_of(line) is BlockState.SHORT
    ]
    if len(short) > MOST_SHORT_NAMED:
        return words.gettext(
            "{count} blocks get less than they need", count=words.number(len(short))
        )
    return "; ".join(
        f"{clean(line.name)}, "
        + words.gettext("{depth} waits", depth=words.depth(waiting_mm(line)))
        for line in short
    )


def glance_words(letter: EveningLetter, words: Wording) -> str:
    """What a list of mails shows after the subject; empty where nothing runs."""
    runs = _runs(letter)
    if not runs:
        return ""
    last = max(pulse.ends_at for _, pulse in runs)
    return words.ngettext(
        "{count} opening, {first} to {last}.",
        "{count} openings, {first} to {last}.",
        len(runs),
        first=words.clock(runs[0][1].starts_at, letter.zone),
        last=words.clock(last, letter.zone),
    )


def sky_lines(letter: EveningLetter, words: Wording) -> tuple[str, ...]:
    """The weather of the day in one line for each site; sites that share it have one."""
    several = len(letter.sites) > 1
    return tuple(
        dict.fromkeys(
            f"{clean(site.site_id)}: {text}" if several else text
            for site in letter.sites
            if (text := site_sky(site, words))
        )
    )


def _runs(letter: EveningLetter) -> list[tuple[BlockLine, PulseLine]]:
    return sorted(
        ((line, pulse) for line in letter.blocks for pulse in line.pulses),
        key=lambda run: (run[1].starts_at, run[0].name),
    )
