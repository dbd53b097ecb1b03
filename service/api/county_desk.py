"""County figures kept in this process: the weather of the counties, and answers as they are sent.

What a question about counties costs is the reading of their weather and its reference ET; another
crop costs little more. Both are kept until the change marks show that weather or counties have
changed, and for some minutes at most, since a forecast grows old without anything being stored.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final, Generic, TypeVar

from service.api.news import News
from service.bootstrap import Service
from service.database.weather_archive import COUNTIES_TOPIC
from service.operations.review.compare_counties import CountyWeather, Span, gather_counties

GOOD_FOR: Final = timedelta(minutes=10)
"""[CHOICE] Forecasts are issued a few times a day, and an answer says when it was worked out."""
MOST_WEATHER: Final = 4
MOST_ANSWERS: Final = 100
"""About 400 kB each for two hundred counties."""
Kept = TypeVar("Kept")


@dataclass(frozen=True, slots=True)
class CountyAnswer:
    """An answer as it is sent."""

    body: bytes
    media_type: str


class CountyDesk:
    """The weather of the counties and the answers made of it."""

    def __init__(self, news: News) -> None:
        self._news = news
        self._weather: _Shelf[CountyWeather] = _Shelf(MOST_WEATHER)
        self._answers: _Shelf[CountyAnswer] = _Shelf(MOST_ANSWERS)

    def weather(self, service: Service, spans: tuple[Span, ...], *, on: date) -> CountyWeather:
        """The weather of every county over these spans; raises NotFound without counties."""

        def gather() -> CountyWeather:
            with service.unit_of_work(write=False) as unit:
                return gather_counties(
                    unit,
                    spans,
                    on=on,
                    now=service.clock.now(),
                    source_order=service.source_order,
                )

        return self._weather.take((spans, on), gather, self._state(service))

    def answer(
        self, service: Service, question: Hashable, make: Callable[[], CountyAnswer]
    ) -> CountyAnswer:
        """The answer to a question that depends on counties and their weather alone."""
        return self._answers.take(question, make, self._state(service))

    def _state(self, service: Service) -> tuple[int, datetime]:
        return self._news.mark(COUNTIES_TOPIC), service.clock.now()


class _Shelf(Generic[Kept]):
    """Some things by what was asked, each with the mark and the time that it was made at."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: dict[Hashable, tuple[int, datetime, Kept]] = {}

    def take(self, key: Hashable, make: Callable[[], Kept], state: tuple[int, datetime]) -> Kept:
        """What is kept and still current, else what is made now."""
        mark, now = state
        found = self._kept.get(key)
        if found is not None and found[0] == mark and abs(now - found[1]) < GOOD_FOR:
            return found[2]
        # The mark was seen before anything is read, so that a change meanwhile is not missed.
        made = make()
        if len(self._kept) >= self._most:
            self._kept.clear()
        self._kept[key] = (mark, now, made)
        return made
