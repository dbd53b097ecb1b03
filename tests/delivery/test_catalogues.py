"""Every text that people may read is in both catalogues, complete, with the same placeholders."""

from __future__ import annotations

import ast
import re
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

import service
from service.agronomy.crop_table import CROPS
from service.agronomy.reasoning import PLAN_FLAG_TEXT, explain_plan
from service.agronomy.soil import TEXTURE_KEYS, texture_soil
from service.farm_files.block_keys import ALL_NUMBERS
from service.translations import LANGUAGES, wording
from service.translations.catalogue import read_catalogue, translations
from service.translations.gather import gather, is_empty
from service.translations.patterns import ALONE, PATTERNS, take_apart

PACKAGE = Path(service.__file__).parent
PLACE = re.compile(r"{(\w+(?::[.\d]+f)?)}")


@pytest.fixture(scope="module")
def gathered() -> set[object]:
    """What the code says now; every worker would gather it again while it collects."""
    return {message.id for message in gather(PACKAGE) if message.id}


def forms(text: object) -> tuple[str, ...]:
    """The singular and the plural, or the one form that there is."""
    return tuple(map(str, text)) if isinstance(text, tuple | list) else (str(text),)


def test_the_code_is_looked_through(gathered: set[object]) -> None:
    texts = {text for each in gathered for text in (each if isinstance(each, tuple) else (each,))}
    assert "Rain and weather" in texts  # of a template
    assert "Keep all valves closed" in texts  # of code
    assert "forecast over a day old" in texts  # marked
    assert "{count} more blocks do not fit in this mail; see the page." in texts  # a plural
    assert set(PLAN_FLAG_TEXT.values()) <= texts  # of the agronomy


def test_a_text_within_an_f_string_is_gathered_too(gathered: set[object]) -> None:
    # What gathers the texts does not look into f-strings, so such a text would stay in English.
    texts = {text for each in gathered for text in forms(each)}
    inside = {
        str(call.args[0].value)
        for path in PACKAGE.rglob("*.py")
        if "gettext" in (source := path.read_text())
        for joined in ast.walk(ast.parse(source))
        if isinstance(joined, ast.JoinedStr)
        for call in ast.walk(joined)
        if isinstance(call, ast.Call)
        and isinstance(call.func, ast.Attribute)
        and call.func.attr in {"gettext", "ngettext"}
        and isinstance(call.args[0], ast.Constant)
    }
    assert inside - texts == set()


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_is_in_the_catalogue_and_nothing_else(
    language: str, gathered: set[object]
) -> None:
    kept = {message.id for message in read_catalogue(language) if message.id}
    assert gathered - kept == set(), "python -m service.translations.gather"
    assert kept - gathered == set(), "python -m service.translations.gather"


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_translation_is_empty_fuzzy_or_takes_other_values(language: str) -> None:
    faults = []
    for message in read_catalogue(language):
        if not message.id:
            continue
        wanted = {name for text in forms(message.id) for name in PLACE.findall(text)}
        if is_empty(message):
            faults.append(f"empty: {message.id}")
        if message.fuzzy:
            faults.append(f"fuzzy: {message.id}")
        if any(set(PLACE.findall(form)) != wanted for form in forms(message.string)):
            faults.append(f"other values: {message.id} / {message.string}")
    assert not faults, "\n".join(faults)


def test_spanish_is_not_english() -> None:
    places = re.compile(r"\{[^}]*\}")
    same = {
        m.id
        for m in read_catalogue("es")
        # An equation of numbers and symbols alone is the same in both.
        if m.id and m.string == m.id and re.search(r"[A-Za-z]{3}", places.sub("", str(m.id)))
    }
    assert same <= {
        "ET",
        "Kiwi",
        "California",
        "Saxton & Rawls 2006",
        "Kc x ET0 = {crop_coefficient:.3f} x {et0_mm:.2f}",
        "{depletion_start_mm:.2f} + {crop_et_mm:.2f}",
        "{gross_mm:.3f} mm x {area_m2:.0f} m²",
        "{need_mm:.2f} - {net_mm:.2f}",
        "{planned_min:.0f} / 60 x {application_rate_mm_per_h:.3f}",
        "mm",
        "{depth} mm",
        "{day} {depth}",
        "{farm}, {day}: {headline}",
        "{minutes} min",
        "{volume} L",
        "{volume} gal",
        "{flow} gal/min",
        "{volume} m³",
    }


def test_spanish_uses_the_words_of_the_trade() -> None:
    # Common practice in Mexico and the United States, no source.
    avoided = (
        "anilla",
        "hormigón",
        "obstrucción",
        "punta",
        "línea cortada",
        "emisor",
        "valoración",
    )
    faults = []
    for message in read_catalogue("es"):
        if not message.id:
            continue
        english = " ".join(forms(message.id)).lower()
        spanish = " ".join(forms(message.string)).lower()
        faults += [f"{word}: {spanish}" for word in avoided if word in spanish]
        if "leach" in english and "boron" not in english and "sales" not in spanish:
            faults.append(f"leaching washes salts: {spanish}")
        if "flush" in english and "lav" in spanish.replace("filtro lavado", ""):
            faults.append(f"lines are purged or rinsed: {spanish}")
    assert not faults, "\n".join(faults)


# --- texts that come with their values in them ---------------------------------------------------


def filled(pattern: str) -> str:
    """A pattern with something plausible in its places."""
    some = {"unit": "L/h", "crop": "grape-wine", "examples": "'10 ft' or '3 m'", "zone": "UTC"}
    named = PLACE.findall(pattern)
    words = {"noun", "measure", "rest", "source", "region", "texture", "tables", "cause"}
    return pattern.format(
        **{name: some.get(name, "a length" if name in words else "4") for name in named}
    )


def test_every_text_is_taken_apart_by_its_own_pattern_and_no_earlier_one() -> None:
    by = {pattern: take_apart(filled(pattern)) for pattern in PATTERNS}
    faults = [
        f"{pattern!r} is taken apart by {found and found[0]!r}"
        for pattern, found in by.items()
        if found is None or found[0] != pattern
    ]
    assert PATTERNS
    assert not faults, "\n".join(faults)


def test_a_whole_text_follows_no_pattern_in_english(
    gathered: set[object],
) -> None:
    english, spanish = wording("en", "us"), wording("es", "us")
    faults = [
        text
        for text in ALONE
        if english.gettext(text) != text or not spanish.gettext(text) or text not in gathered
    ]
    assert ALONE
    assert not faults, "\n".join(faults)


def test_a_fault_is_shown_in_spanish_part_by_part() -> None:
    words = wording("es", "us")
    translated = words.gettext("with its unit: a length such as '10 ft' or '3 m', 0.2 to 30 m")
    assert translated == "con su unidad: una longitud como '10 ft' o '3 m', de 0.2 a 30 m"
    assert wording("en", "us").gettext("0 to 1500 minutes") == "0 to 1500 minutes"
    assert words.gettext("0 to 1500 minutes") == "de 0 a 1500 minutos"
    assert words.gettext("something that nobody marked") == "something that nobody marked"


def test_every_origin_of_a_default_has_its_spanish() -> None:
    origins = {
        *(key.origin for key in ALL_NUMBERS if key.origin),
        *(f"texture {key}: {texture_soil(key).source}" for key in TEXTURE_KEYS),
        *(
            f"crop table, {row.key}: {source}"
            for row in CROPS.values()
            for source in (row.kc_source, row.off_season_source, row.root_source)
        ),
        *(f"lower end of the range in {row.root_source}" for row in CROPS.values()),
        *(
            f"stage lengths of {row.stage_source}; season start of {row.stage_source}, moved by"
            " six months for the southern hemisphere; local dates are better"
            for row in CROPS.values()
            if row.stage_source
        ),
    }
    words = wording("es", "us")
    english = re.compile(r"\b(?:the|of|table|choice|row|and|Tables?)\b")
    printed_row = re.compile(r"'[^']*'")  # stays as it is printed, so that it can be looked up
    faults = [
        f"{origin} / {translated}"
        for origin in sorted(origins)
        if (translated := words.gettext(origin)) == origin
        or english.search(printed_row.sub("", translated))
    ]
    assert not faults, "\n".join(faults)


def test_every_number_of_a_block_has_a_name_for_people() -> None:
    english, spanish = wording("en", "us"), wording("es", "us")
    faults = [
        name
        for name in (str(key.field) for key in ALL_NUMBERS)
        if english.label(name) in (name.replace("_", " "), spanish.label(name))
    ]
    assert not faults, "\n".join(faults)
    assert wording("es", "us").label("not_listed") == "not listed"


def test_a_step_is_worked_in_the_language_with_its_marks() -> None:
    steps = {step.name: step for step in explain_plan({"raw_mm": 7.39, "area_m2": 4000.0}, {})}
    words = wording("es", "us")
    assert words.worked(steps["rain_room_mm"]) == "? x AFA = ? x 7.39"
    assert words.worked(steps["volume_l"]) == "? mm x 4,000.0 m²"
    assert steps["volume_l"].worked == "? mm x 4000.0 m²"


def test_spanish_has_one_word_for_each_thing_and_one_way_to_speak_to_people() -> None:
    unwanted = re.compile(
        r"\b(?:fincas?|cintilla|caudal|tú|tus?|te|tienes|puedes|agua fácilmente disponible)\b",
        re.IGNORECASE,
    )
    faults = [
        form
        for message in read_catalogue("es")
        for form in forms(message.string)
        if message.id != "" and unwanted.search(form)
    ]
    assert not faults, "\n".join(faults)


def test_a_language_that_is_not_kept_is_refused() -> None:
    with pytest.raises(KeyError, match="en, es"):
        translations("fr")


def test_the_clock_of_a_day_is_named_for_that_day_and_both_where_it_changes() -> None:
    words, zone = wording("en", "us"), "America/Los_Angeles"
    assert words.clock_of_day(date(2026, 7, 15), zone) == "Pacific Daylight Time"
    assert words.clock_of_day(date(2026, 12, 15), zone) == "Pacific Standard Time"
    both = words.clock_of_day(date(2026, 11, 1), zone)
    assert both == "Pacific Daylight Time, then Pacific Standard Time"


def test_numbers_days_and_times_as_each_reader_writes_them() -> None:
    at = datetime(2026, 7, 16, 11, 5, tzinfo=UTC)
    day, zone = date(2026, 7, 16), "America/New_York"
    translated = {
        (language, units): (
            words.depth(12.7),
            words.volume(12_345.6),
            words.clock(at, zone),
            words.long_day(day),
            words.short_day(day),
            words.weekday(day),
            words.percent(0.6),
        )
        for language in LANGUAGES
        for units in ("us", "si")
        for words in [wording(language, units)]
    }
    assert translated == {
        ("en", "us"): (
            "0.50 in", "3,261 gal", "7:05 AM", "Thursday, July 16", "Thu, Jul 16", "Thu", "60%",
        ),
        ("en", "si"): (
            "12.7 mm", "12,346 L", "07:05", "Thursday 16 July", "Thu, 16 Jul", "Thu", "60%",
        ),
        ("es", "us"): (
            "0.50 pulg", "3,261 gal", "7:05 a.m.", "jueves 16 de julio", "jue, 16 de jul", "jue",
            "60%",
        ),
        ("es", "si"): (
            "12.7 mm", "12,346 L", "07:05", "jueves 16 de julio", "jue 16 de jul", "jue", "60%",
        ),
    }  # fmt: skip


def test_what_is_not_known_is_a_question_mark() -> None:
    assert wording("en", "us").depth(float("nan")) == "? in"
    assert wording("es", "si").volume(250_000.0) == "250 m³"


def test_texts_with_a_number_in_templates_are_gathered() -> None:
    """The gathering finds names that are called, not what is called of an object."""
    called = [
        f"{path.name}: {found}"
        for path in PACKAGE.rglob("templates/*.html")
        for found in re.findall(r"\w+\.n?gettext\(", path.read_text(encoding="utf-8"))
    ]
    assert called == []


def test_a_spanish_clock_at_the_end_of_a_sentence_brings_no_second_point() -> None:
    words = wording("es", "us")
    at = words.clock(datetime(2026, 7, 16, 23, 5, tzinfo=UTC), "America/New_York")
    text = words.gettext(
        "Plan {version}, made {moment}. Clock of the day planned: {clock}.",
        version=1, moment=at, clock="-",
    )  # fmt: skip
    assert "7:05 p.m. Reloj" in text.replace("\u202f", " ").replace("\u00a0", " ")


def test_days_in_a_caution_are_written_as_the_reader_writes_them() -> None:
    caution = (
        "WARNING: 3 kg of nitrogen on 2026-08-05, after 2026-07-31, the last day for nitrogen of"
        " this block. Late growth does not harden before frost."
    )
    assert "on Wed, Aug 5, after Fri, Jul 31," in wording("en", "us").gettext(caution)
    spanish = wording("es", "si").gettext(caution)
    assert "2026" not in spanish and "mié" in spanish and "vie" in spanish
    # What somebody may type stays as it is typed.
    typed = "a date such as 2026-04-01, without a time"
    assert wording("en", "us").gettext(typed) == typed
