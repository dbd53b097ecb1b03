"""Nothing that can be seen on a Spanish page, sheet or mail is the English text."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from email import message_from_bytes
from email.policy import default
from html.parser import HTMLParser

import pytest
from sqlalchemy.engine import URL

from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.reasoning import PlanFlag
from service.api.app import create_app
from service.attributions import ATTRIBUTIONS
from service.database.migrate import upgrade
from service.delivery.message import MailIdentity, compose
from service.pages.mount import LINKED_PAGES, PAGES, SECRET_PAGES
from service.records.letters import AnyLetter, SignInLetter
from service.waterworks.flow_check import FlowVerdict
from tests.api.invented_farm import PLAN_DAY, TODAY, load, opened_service, plan_evening
from tests.databases import new_database
from tests.letters import (
    DAY,
    STAMP,
    THANKS,
    block_line,
    block_week,
    bulletin,
    evening,
    pulse,
    reader,
    sample_reminders,
    weekly,
)
from tests.pages.conftest import Reader
from tests.pages.spanish_ranch import FARM_ID, RANCH, bring_poor_weather

UNITS = ("us", "si")
WHAT_CHANGED = f"/farms/{FARM_ID}/what-changed?day={PLAN_DAY}&before=999&after=999"
BLOCKS = tuple(f"/blocks/{FARM_ID}.{name}" for name in ("uno", "dos", "tres", "cuatro"))
# What is the same in both languages, or is not the service's to translate.
GIVEN_BY_PEOPLE = (
    "Arroyo Seco", "Lote Uno", "Lote Dos", "Lote Tres", "Lote Cuatro", "Pozo", "Loma", "Vega",
    "Condado Aliso", "Condado Abedul", "Alder", "Brack", "Brook farm", "North", "South", "West",
    "Ana Ejemplo", "loma", "vega", "hill", "cosecha", "sky", "import",
)  # fmt: skip
SAME = frozenset(
    {
        "English", "Español", "Rillwright", "Kc", "ET", "ET0", "ET:", "ET0,", "Kiwi", "mm", "m",
        "cm", "ac", "ha", "m²", "gal/min", "gal/h", "L/h", "m³/h", "gal", "L", "h", "min", "s",
        "°F", "°C", "UTC", "%", "kPa", "kPa/°C", "m/s", "MJ/m²", "mm/h", "mm/min", "pH", "dS/m",
        "uS/cm", "mg/L", "/mL", "CaCO3", "meq/L", "mmol/L", "mL/min", "mL", "g", "kg", "lb",
        "psi", "bar", "m³",
        "Urea", "lb/ac", "kg/ha", "ppm", "meq/100g", "meq/100cm3", "Mehlich-3", "Bray P1", "Olsen",
        "cb", "mph", "CSV",
    }
)  # fmt: skip
NOT_READ = ("style", "script", "cite", "code")
"""Elements whose text is not the page's own: sources, cited in the language they are in, and names
and values as they are stored.
"""
SOURCES = tuple(
    text
    for each in (*ATTRIBUTIONS.values(), THANKS)
    for text in (each.text, each.url, each.licence)
)
"""Attributions for weather, in the words that the sources ask for."""
COMMANDS = (
    "[block.hydraulics]", "rillwright water-add", "rillwright fertigate",
    "rillwright import-weather",
)  # fmt: skip
_ARITHMETIC = re.compile(r"(?:Kc x ET0|mm/h|mm|m²|x|Rn|u2|es|ea|T|[Δγ]|[\W\d])*")
_ENGLISH = re.compile(
    r"\b(?:the|of|and|is|are|was|with|for|from|that|by|or|to|at|on|than|not|its|where|only|"
    r"given|choice|allowed|day|days|water|block|weather|forecast|soil|crop)\b"
)
"""Small words and words of the trade that Spanish does not have."""
_PLACES = re.compile(r"/[a-z]+/\d+/[a-z_]+|https?://\S+")
"""A place in a farm's document, as faults name it, and the address of a page."""
_TYPED = re.compile(r"'[^']*'")
"""What somebody typed, as a fault repeats it."""
_SPOKEN = frozenset({"title", "alt", "aria-label", "placeholder"})


class Seen(HTMLParser):
    """Collects what a reader sees or hears: text, and the attributes that are spoken."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._skipped = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Attributes that are spoken, and where a style or a choice of zones begins."""
        self._skipped += tag in NOT_READ
        self.texts += [" ".join((value or "").split()) for name, value in attrs if name in _SPOKEN]

    def handle_endtag(self, tag: str) -> None:
        """Where a style or a citation ends."""
        self._skipped -= tag in NOT_READ

    def handle_data(self, data: str) -> None:
        """A text node."""
        text = " ".join(data.split())
        if text and not self._skipped:
            self.texts.append(text)


def own_words(text: str) -> str:
    """A text without what people and sources gave."""
    for given in sorted((*GIVEN_BY_PEOPLE, *SOURCES, *COMMANDS), key=len, reverse=True):
        text = text.replace(given, "")
    return _TYPED.sub("", _PLACES.sub("", text))


def english_left(english: list[str], spanish: list[str]) -> list[str]:
    """Texts of a Spanish page that are those of the English one, or have English words in them."""
    kept = set(english)
    found = []
    for text in spanish:
        own = own_words(text).strip(" –·,;:()")
        if own in SAME or not re.search(r"[A-Za-z]", own):
            continue
        is_same = text in kept and not _ARITHMETIC.fullmatch(own) and not _is_name(own)
        if is_same or _ENGLISH.search(own.lower()):
            found.append(text)
    return list(dict.fromkeys(found))


def _is_name(text: str) -> bool:
    """A place of the list of clocks, a unit, a number with its unit."""
    return bool(
        re.fullmatch(r"(?:America|Europe)/[\w /]+", text)
        or all(
            part in SAME or not re.search("[A-Za-z]", part) for part in re.split(r"[\s()]+", text)
        )
    )


@pytest.fixture(scope="module")
def readers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Reader, Reader]]:
    """Two people at the machine itself, one who reads English and one who reads Spanish.

    On SQLite only: the words do not come from the database.
    """
    with new_database("sqlite", tmp_path_factory.mktemp("ranch")) as url:
        upgrade(url)
        yield from _readers(url)


def _readers(url: URL) -> Iterator[tuple[Reader, Reader]]:
    with opened_service(url) as service:
        load(service, RANCH)
        bring_poor_weather(service)
        assert plan_evening(service) == []
        app = create_app(service)
        made = [Reader(app, headers={"Accept-Language": language}) for language in ("en", "es")]
        made[0].send(
            BLOCKS[1], f"{BLOCKS[1]}/pauses",
            day="2026-08-01", time="10:00", end_day="2026-08-29", end_time="10:00",
            reason="cosecha",
        )  # fmt: skip
        yield made[0], made[1]


NAMED = {
    "farm_id": FARM_ID, "block_id": f"{FARM_ID}.uno", "supply_id": "pozo", "block_key": "uno",
    "site_id": "loma", "pause_id": "0" * 16, "token": "none",
    "program_id": "0" * 16, "start": "2026-07-13T09:10:00Z", "ending": "csv",
}  # fmt: skip
ADDRESSES = sorted(
    {
        *(
            path.format_map(NAMED)
            for method, path, _ in (*PAGES, *LINKED_PAGES, *SECRET_PAGES)
            if method == "GET" and not path.endswith((".csv", ".xlsx", ".{ending}"))
        ),
        *BLOCKS,
        "/farms?all=1",
        f"/farms/{FARM_ID}/tomorrow?date={TODAY}",
        f"/farms/{FARM_ID}/tomorrow?date=2027-01-05",
        "/farms/none/tomorrow",
        f"/farms/{FARM_ID}/what-if?pump_down=2&flow=50+%25&rain=1+in&windows=04:00-05:00",
        "/counties?crop=blueberry",
        *(f"{BLOCKS[0]}?done={done}" for done in ("flow-changed", "flow-kept", "flow-gone")),
        f"{WHAT_CHANGED}&done=day&kept=1",
        *(f"{WHAT_CHANGED}&done={done}" for done in ("rain-changed", "runs-kept", "soil-kept")),
        *(f"{WHAT_CHANGED}&done={done}" for done in ("pauses-changed", "pause-ended", "days")),
        f"{BLOCKS[0]}?date={TODAY}",
        f"{BLOCKS[0]}?date=2020-01-01",
    }
)


@pytest.mark.parametrize("units", UNITS)
def test_nothing_visible_on_a_spanish_page_is_the_english_text(
    readers: tuple[Reader, Reader], units: str
) -> None:
    faults = []
    for each in readers:
        each.cookies.set("rillwright-units", units)
    for path in ADDRESSES:
        shown = [Seen(each.get(path).text).texts for each in readers]
        faults += [f"{path}: {text}" for text in english_left(*shown)]
    assert not faults, "\n".join(faults)


DAY_TEXT = TODAY.isoformat()
FARM = {
    "name": "Las Palmas", "zone": "America/New_York", "unit_system": "us",
    "coordinates": "35.9, -79.2", "elevation": "500", "elevation_unit": "ft",
}  # fmt: skip
SUPPLY = {
    "supply_name": "Pozo", "flow": "40", "flow_unit": "gpm", "opens_1": "04:00",
    "closes_1": "21:00",
}  # fmt: skip
BLOCK = {
    "name": "Lote Cinco", "crop": "grape-wine", "area": "0.1", "area_unit": "ac",
    "row_spacing": "16", "row_spacing_unit": "ft", "laterals_per_row": "1",
    "emitter_spacing": "24", "emitter_spacing_unit": "in", "emitter_flow": "0.5",
    "emitter_flow_unit": "gph", "texture": "loam", "site": "loma", "supply": "pozo",
}  # fmt: skip
RAIN = {"amount": "0.5", "unit": "in", "day": DAY_TEXT, "time": "18:30"}
RUN = {"day": DAY_TEXT, "time": "04:00", "minutes": "50"}
PAUSE = {
    "day": "2026-07-16", "time": "10:00", "end_day": "2026-07-17", "end_time": "10:00",
    "reason": "cosecha",
}  # fmt: skip
NEW_FARM = "/farms/new"
NEW_SUPPLY = f"/farms/{FARM_ID}/supplies/new"
NEW_BLOCK = f"/farms/{FARM_ID}/blocks/new"
WRONG: list[tuple[str, str, dict[str, str]]] = [
    *((NEW_FARM, NEW_FARM, {**FARM, **wrong}) for wrong in (
        {"name": ""}, {"name": "???"}, {"zone": "Here/There"}, {"unit_system": "both"},
        {"coordinates": "north"}, {"coordinates": ""}, {"coordinates": "95 N 79 W"},
        {"coordinates": "0.6, -79.2"}, {"coordinates": "-35.9, -79.2"},
        {"coordinates": "35.9, 79.2"}, {"coordinates": "35.9, 999"},
        {"elevation": "tall"}, {"elevation": ""}, {"elevation": "1,5.2"},
    )),
    *((NEW_SUPPLY, NEW_SUPPLY, {**SUPPLY, **wrong}) for wrong in (
        {"supply_name": ""}, {"supply_name": "Pozo"}, {"supply_name": "???"}, {"flow": "x"},
        {"flow": "lots"}, {"flow": ""}, {"flow": "9999999"}, {"flow_unit": ""},
    )),
    *((NEW_BLOCK, NEW_BLOCK, {**BLOCK, **wrong}) for wrong in (
        {"name": ""}, {"name": "Uno"}, {"crop": "grapes"}, {"crop": "zzz"}, {"area": ""},
        {"area": "0"}, {"area": "99"}, {"area_unit": ""}, {"area_unit": "h"},
        {"row_spacing": "x"}, {"laterals_per_row": "99"}, {"laterals_per_row": "two"},
        {"emitter_spacing": "900"}, {"emitter_flow": "-1"}, {"emitter_flow": "90"},
        {"emission_uniformity": "10", "emission_uniformity_unit": "%"},
        {"longest_pulse": "1", "longest_pulse_unit": "min"},
        {"longest_pulse": "6", "longest_pulse_unit": "min"},
        {"longest_pulse": "90", "longest_pulse_unit": "h"},
        {"root_depth": "900", "root_depth_unit": "in"}, {"texture": "mud"},
        {"planting_year": "old"}, {"planting_year": "2021.5"}, {"planting_year": "1"},
        {"crop": "blueberry"}, {"season_start": "spring"}, {"season_start": "02-29"},
        {"season_start": "03-20", "stage_1": "x"}, {"season_start": "03-20", "stage_1": "30"},
        {"season_start": "03-20", "stage_1": "300", "stage_2": "300", "stage_3": "3",
         "stage_4": "3"},
        {"supply": "sea"}, {"site": "moon"},
    )),
    *((BLOCKS[0], f"{BLOCKS[0]}/rain", {**RAIN, **wrong}) for wrong in (
        {"amount": "much"}, {"amount": "-1"}, {"amount": "99"}, {"amount": "9"}, {"day": "x"},
        {"time": "x"}, {"day": "2026-07-30"},
    )),
    *((BLOCKS[0], f"{BLOCKS[0]}/runs", {**RUN, **wrong}) for wrong in (
        {"minutes": "x"}, {"minutes": "9999"}, {"day": "2030-01-01"}, {"day": "x"}, {"time": "x"},
        {"volume": "x", "unit": "gal"}, {"volume": "-5", "unit": "L"},
    )),
    *((BLOCKS[0], f"{BLOCKS[0]}/pauses", {**PAUSE, **wrong}) for wrong in (
        {"end_day": "2026-07-15"}, {"end_day": "2029-07-15"}, {"reason": ""},
        {"reason": "x" * 500}, {"time": "x"},
    )),
]  # fmt: skip


def test_no_fault_beside_a_field_is_shown_in_english(readers: tuple[Reader, Reader]) -> None:
    faults = []
    opened = {
        page: [(each, each.token_of(page)) for each in readers]
        for page in dict.fromkeys(page for page, _, _ in WRONG)
    }
    for page, action, fields in WRONG:
        answers = [each.send_again(token, action, **fields) for each, token in opened[page]]
        untranslated = [
            f"answered with {answer.status_code}"
            for answer in answers
            if answer.status_code not in (409, 422)
        ]
        # What was entered stays in the fields, whose values are no texts of the page.
        untranslated += english_left(*(Seen(answer.text).texts for answer in answers))
        if (page != NEW_BLOCK or "supply" not in fields) and (
            'class="fault"' not in answers[1].text
        ):
            untranslated.append("no fault is shown")
        faults += [f"{action} {fields}: {text}" for text in untranslated]
    assert not faults, "\n".join(faults)


SEASON = {
    "season_start": "03-20", "stage_1": "30", "stage_2": "30", "stage_3": "90", "stage_4": "30",
}  # fmt: skip
OTHER_BLOCKS: tuple[dict[str, str], ...] = (
    {},
    {"texture": "sandy-clay"},
    *({"crop": crop, **SEASON} for crop in (
        "strawberry", "blueberry", "raspberry", "blackberry", "kiwi", "olive", "walnut", "hops",
    )),
)  # fmt: skip


def test_where_the_default_numbers_of_a_block_come_from_is_shown_in_spanish(
    readers: tuple[Reader, Reader],
) -> None:
    faults = []
    for changes in OTHER_BLOCKS:
        fields = {**BLOCK, **changes, "do": "preview"}
        answers = [each.send(NEW_BLOCK, NEW_BLOCK, **fields) for each in readers]
        english, spanish = (Seen(answer.text).texts for answer in answers)
        untranslated = english_left(english, spanish)
        if answers[1].status_code != 200:
            untranslated.append(f"answered with {answers[1].status_code}")
        if not any("Keller & Karmeli" in text for text in spanish):
            untranslated.append("no source of the soil's numbers is named")
        faults += [f"{changes}: {text}" for text in untranslated]
    assert not faults, "\n".join(faults)


# --- mails ---------------------------------------------------------------------------------------

IDENTITY = MailIdentity(
    sender_address="plans@example.org",
    sender_name="Rillwright",
    domain="mail.example.org",
    reply_address="",
    public_url="https://plans.example.org",
)
NO_SITE = evening().sites[0]
LETTERS: dict[str, AnyLetter] = {
    "all flags of all blocks": evening(
        block_line("North", pulse("04:00", 69), flags=int(sum(PlanFlag))),
        block_line("South", flags=int(sum(PlanFlag))),
        plan_version=2,
    ),
    "all flags of one block": evening(
        block_line(
            "North",
            pulse("04:00", 69),
            pulse("07:00", 20),
            flags=int(sum(PlanFlag)),
            rain_credit_mm=3.0,
            dry_day=DAY,
        ),
        block_line("South"),
        block_line("West", status="no-weather"),
    ),
    **{
        f"less than asked, {cause.name}": evening(
            block_line("North", pulse("04:00", 69), cause=int(cause), shortfall_mm=4.0),
            block_line("South", pulse("04:00", 69), cause=int(cause), deferred_mm=4.0),
            block_line(
                "West",
                cause=int(cause),
                numbers={
                    "crop_et_mm": 5.0,
                    "planned_depletion_mm": 12.0,
                    "trigger_mm": 10.0,
                    "cause": float(cause),
                },
            ),
        )
        for cause in ShortfallCause
        if cause is not ShortfallCause.NONE
    },
    "nothing known": evening(
        block_line("North", status="no-weather", numbers={}),
        sites=(replace(NO_SITE, source=None, issued_at=None, observed_until=None),),
    ),
    "rest": evening(block_line("North"), sites=()),
    "one block": evening(block_line("North", pulse("04:00", 69))),
    "many blocks": evening(
        *(
            block_line(f"North {n}", pulse("04:00", 69), flags=int(sum(PlanFlag)))
            for n in range(420)
        )
    ),
    "a week": weekly(
        block_week("North", short_days_count=1, assumed_days_count=2, unobserved_days_count=1),
        *(
            block_week(f"North {place}", flow_verdict=verdict.value, flow_change_fraction=0.2)
            for place, verdict in enumerate(FlowVerdict)
        ),
        block_week("South", raw_mm=None, depletion_end_mm=None),
        reminders=(*sample_reminders(), *sample_reminders(on=date(2026, 12, 1))),
    ),
    "no week": weekly(block_week("South", raw_mm=None, depletion_end_mm=None)),
    "counties": bulletin(),
    "a link": SignInLetter(lasts=timedelta(minutes=20)),
}


def mail_texts(letter: AnyLetter, language: str, units: str) -> list[str]:
    """What a mail says in its subject, its plain part line by line, and its HTML."""
    person = reader(language=language, unit_system=units)
    content = compose(letter, person, STAMP, identity=IDENTITY)
    message = message_from_bytes(content, policy=default)
    plain, html = (message.get_body((kind,)) for kind in ("plain", "html"))
    assert plain is not None
    assert html is not None
    return [
        str(message["Subject"]),
        *(line.strip() for line in plain.get_content().splitlines() if "https:" not in line),
        *Seen(html.get_content()).texts,
        *(
            line.strip()
            for part in message.walk()
            if part.get_content_type() == "text/calendar"
            for line in part.get_content().splitlines()
            if line.startswith("SUMMARY")
        ),
    ]


@pytest.mark.parametrize("units", UNITS)
def test_nothing_in_a_spanish_mail_is_the_english_text(units: str) -> None:
    faults = []
    for name, letter in LETTERS.items():
        english, spanish = (mail_texts(letter, language, units) for language in ("en", "es"))
        faults += [f"{name}: {text}" for text in english_left(english, spanish)]
    assert not faults, "\n".join(faults)


# --- the day of reading --------------------------------------------------------------------------


def test_a_plan_read_on_its_own_day_says_today_and_later_neither_today_nor_tomorrow(
    readers: tuple[Reader, Reader],
) -> None:
    english, spanish = readers
    page = f"/farms/{FARM_ID}/tomorrow?date={PLAN_DAY}"
    assert re.search(r">Wednesday[^<:]+: open first<", english.text(page))
    assert re.search(r">miércoles[^<:]+: abrir primero<", spanish.text(page))
    past = english.text(f"/farms/{FARM_ID}/sheet?date={PLAN_DAY}")
    assert "blocks on Wednesday" in past
    assert "tomorrow," not in past
