"""Tasks of a season in the words of a reader: for the page, the calendar and the weekly mail."""

from __future__ import annotations

from datetime import date

from service.nutrition.season_tasks import GroupedTask
from service.nutrition.task_days import SeasonTask
from service.translations import Wording


def task_title(group: GroupedTask, words: Wording) -> str:
    """What is to be done, and of which crops where a block's may be several."""
    title = words.gettext(group.task.title)
    if not group.task.crops:
        return title
    return f"{title} ({words.listed([words.gettext(each) for each in group.task.crops])})"


def task_steps(group: GroupedTask, words: Wording) -> list[str]:
    """How and why it is done."""
    return [words.gettext(each) for each in (*group.task.how, group.task.reason)]


def task_days(task: SeasonTask, on: date, words: Wording) -> str:
    """The days of its window: of one that is open, the last."""
    last = day_words(task.last_day, words)
    if task.first_day == task.last_day:
        return last
    if task.first_day <= on:
        return words.gettext("until {day}", day=last)
    return words.gettext("{first} to {last}", first=day_words(task.first_day, words), last=last)


def day_words(day: date, words: Wording) -> str:
    """A day without its weekday, since a window is of every year."""
    return words.yearly_day(day.month, day.day)
