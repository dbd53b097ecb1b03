"""Brings the catalogues up to date with the texts in the code.

``python -m service.translations.gather`` keeps existing translations, adds new texts untranslated,
and drops those no longer used. The tests fail until every text has its translation.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract
from babel.messages.pofile import write_po

from service.agronomy.crop_table import CROPS
from service.agronomy.pulse_plan import CAUSE_TEXT
from service.agronomy.reasoning import PLAN_FLAG_TEXT, REASON_TEXTS, STEP_TEXTS, TAKEN_AS_FULL
from service.agronomy.soil import TEXTURE_KEYS
from service.agronomy.weather_agreement import REASON_TEXT
from service.agronomy.weather_flags import FLAG_TEXT
from service.nutrition.tables import crops
from service.nutrition.task_words import task_texts
from service.translations.catalogue import LANGUAGES, SOURCE_LANGUAGE, read_catalogue
from service.waterworks.acid_amounts import amount_texts
from service.waterworks.acid_limits import limit_texts
from service.waterworks.caution import (
    ACID_CAUTIONS,
    CHEMIGATION_CAUTIONS,
    CHLORINE_CAUTIONS,
    IRON_OXIDATION,
)
from service.waterworks.crop_water import crop_texts
from service.waterworks.fertiliser import PRODUCTS
from service.waterworks.flow_check import FlowVerdict
from service.waterworks.head_checks import check_texts
from service.waterworks.head_filter import FilterKind
from service.waterworks.head_injector import injector_texts
from service.waterworks.head_order import order_texts
from service.waterworks.parts_list import part_names
from service.waterworks.pipe_amounts import ASSUMPTIONS
from service.waterworks.water_report import report_texts

ROOMS = ("delivery", "operations", "translations", "pages")
"""Rooms of the package whose texts people read; a room may not exist yet."""
KEYWORDS = {"_": None, "gettext": None, "ngettext": (1, 2), "marked": None}
_CAUTIONS = (*ACID_CAUTIONS, *CHLORINE_CAUTIONS, *CHEMIGATION_CAUTIONS, IRON_OXIDATION)
PURE_ROOMS = "agronomy"
WATERWORKS = "waterworks"
NUTRITION = "nutrition"
_UNCHANGING = datetime(2026, 1, 1, tzinfo=UTC)  # so that gathering twice writes the same file


def gather(package: Path) -> Catalog:
    """Every translatable text in the code and the templates, untranslated."""
    found = Catalog(domain="rillwright", project="Rillwright", creation_date=_UNCHANGING)
    for place, text in _texts(package):
        found.add(text, locations=[(place, 1)])
    return found


def _texts(package: Path) -> Iterator[tuple[str, str | tuple[str, ...]]]:
    for room in ROOMS:
        for path in sorted((package / room).rglob("*")):
            method = {".py": "python", ".html": "jinja2", ".txt": "jinja2"}.get(path.suffix)
            if method is None:
                continue
            with path.open("rb") as file:
                for _, text, _, _ in extract(method, file, keywords=KEYWORDS):
                    yield path.relative_to(package).as_posix(), text
    for texts in (
        PLAN_FLAG_TEXT.values(),
        (TAKEN_AS_FULL,),
        CAUSE_TEXT.values(),
        REASON_TEXTS,
        STEP_TEXTS,
        (verdict.value for verdict in FlowVerdict),
        (crop.name for crop in CROPS.values()),
        TEXTURE_KEYS,
        FLAG_TEXT.values(),
        REASON_TEXT.values(),
    ):
        yield from ((PURE_ROOMS, text) for text in texts)
    for texts in (
        report_texts(),
        crop_texts(),
        (each.name for each in PRODUCTS.values() if each.key != "urea"),
        (each.text for each in _CAUTIONS),
        part_names(),
        order_texts(),
        check_texts(),
        injector_texts(),
        limit_texts(),
        amount_texts(),
        (kind.value for kind in FilterKind),
        ASSUMPTIONS,
    ):
        yield from ((WATERWORKS, text) for text in texts)
    yield from ((NUTRITION, text) for text in task_texts())
    for crop in crops().values():
        yield from ((NUTRITION, text) for text in (crop.name, crop.tissue_words))


def update(language: str, gathered: Catalog) -> Catalog:
    """The stored catalogue with exactly the gathered texts; English is its own translation."""
    kept = read_catalogue(language)
    fresh = Catalog(
        locale=language,
        domain="rillwright",
        project="Rillwright",
        version="1",
        msgid_bugs_address="see README.md",
        last_translator="Rillwright",
        language_team=language,
        header_comment=f"# Texts of Rillwright, {language}. The key is the English of the code.",
        creation_date=_UNCHANGING,
        revision_date=_UNCHANGING,
        fuzzy=False,
    )
    for message in gathered:
        if not message.id:
            continue
        known = kept.get(message.id)
        translated = known.string if known is not None else None
        if language == SOURCE_LANGUAGE:
            translated = message.id
        fresh.add(message.id, translated, locations=message.locations)
    return fresh


def is_empty(message: Message) -> bool:
    """Whether a text, or one of its plural forms, has no translation."""
    forms = message.string if isinstance(message.string, tuple | list) else (message.string,)
    return not forms or not all(forms)


def main() -> None:
    """Gather the texts and write both catalogues in place."""
    package = Path(__file__).resolve().parents[1]
    gathered = gather(package)
    for language in LANGUAGES:
        path = package / "translations" / f"{language}.po"
        fresh = update(language, gathered)
        with path.open("wb") as file:
            write_po(file, fresh, width=100, sort_output=True, include_lineno=False)
        empty_count = sum(1 for each in fresh if each.id and is_empty(each))
        print(f"{path.name}: {len(fresh)} texts, {empty_count} without a translation")


if __name__ == "__main__":
    main()
