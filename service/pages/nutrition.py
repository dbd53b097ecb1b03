"""The page of a block's leaf and soil tests: what they say, over years, and the season's plan.

Everything is recomputed from the stored tests when the page is opened. The laboratory's own
recommendation comes first, every range says where it is from, and no dose is shown without what to
know of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup
from starlette.responses import Response

from service.drawing.years import Sample, over_years
from service.errors import Fault, InputInvalid
from service.nutrition.leaf_classes import LeafClass, NutrientCard
from service.nutrition.nitrogen_need import VIGOUR_FACTORS
from service.nutrition.readings import IN_PERCENT
from service.nutrition.soil_ph import TEXTURES
from service.nutrition.tables import MACROS, MICROS, SamplingWindow, crops_of_block
from service.operations.access.manage_keys import Right
from service.operations.nutrition.plan_nutrients import NutrientPlan, PlanRequest, plan_nutrients
from service.operations.nutrition.record_tests import NutrientReport, list_reports
from service.operations.reading.read_farms import local_day
from service.pages.number_fields import entered_number
from service.pages.plans import farm_of
from service.pages.visit import Visit, faults_by_field
from service.records.farms import BlockDefinition, FarmDefinition
from service.records.nutrition import EXTRACTANTS
from service.translations import Wording
from service.translations.catalogue import marked
from service.unit_sizes import KG_PER_POUND, LB_PER_AC_PER_KG_PER_HA

SHAPES: Mapping[LeafClass, str] = {
    LeafClass.UNKNOWN: "–", LeafClass.DEFICIENT: "▼▼", LeafClass.LOW: "▼",
    LeafClass.SUFFICIENT: "●", LeafClass.HIGH: "▲", LeafClass.EXCESS: "▲▲",
}  # fmt: skip
NUTRIENT_NAMES: Mapping[str, str] = {
    "N": marked("Nitrogen"), "P": marked("Phosphorus"), "K": marked("Potassium"),
    "Ca": marked("Calcium"), "Mg": marked("Magnesium"), "S": marked("Sulfur"),
    "B": marked("Boron"), "Fe": marked("Iron"), "Mn": marked("Manganese"), "Zn": marked("Zinc"),
    "Cu": marked("Copper"), "Cl": marked("Chloride"), "Na": marked("Sodium"), "pH": "pH",
    "organic-matter": marked("Organic matter"), "cec": marked("Exchange capacity"),
    "exchangeable-acidity": marked("Exchangeable acidity"),
    "calcium-carbonate": marked("Calcium carbonate"),
}  # fmt: skip
BASIS_WORDS: Mapping[str, str] = {
    "read": marked("read in its source"), "second-hand": marked("second-hand"),
    "memory": marked("from memory"), "laboratory": marked("printed by the laboratory"),
}  # fmt: skip
VIGOUR_WORDS = {
    "short": marked("short"), "normal": marked("normal"), "long": marked("long"),
}  # fmt: skip
PLANT_FIELDS: tuple[tuple[str, tuple[str, ...]], ...] = tuple(
    (name, ("%", "ppm") if name in IN_PERCENT else ("ppm", "%"))
    for name in (*MACROS, *MICROS, "Cl", "Na")
)
RATE_FIELDS: Mapping[str, str] = {
    "last_season_kg_per_ha": "last_season", "legal_cap_kg_per_ha": "legal_cap",
    "removal_kg_per_ha": "harvest_nitrogen", "k2o_removal_kg_per_ha": "harvest_k2o",
}  # fmt: skip
"""Fields of a season's plan that hold a rate, by what they give."""
DAYS_PER_LEAP_YEAR = 366.0
_MASS = ("ppm", "lb/ac")
SOIL_FIELDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("pH", ()), ("P", _MASS), ("K", _MASS), ("Ca", _MASS), ("Mg", _MASS), ("B", _MASS),
    ("organic-matter", ("%",)), ("cec", ("meq/100g",)), ("exchangeable-acidity", ("meq/100cm3",)),
    ("calcium-carbonate", ("%",)),
)  # fmt: skip


TISSUE_WORDS: Mapping[str, str] = {
    "leaf": marked("leaves"), "petiole": marked("petioles"),
    "primocane-leaf": marked("leaves of canes that do not fruit"),
}  # fmt: skip
STAGE_WORDS: Mapping[str, str] = {
    "bloom": marked("bloom"), "veraison": marked("veraison"), "harvest": marked("harvest"),
    "early-summer": marked("early summer"), "mid-season": marked("mid-season"),
    "mid-summer": marked("mid-summer"), "august": marked("August"),
    "september": marked("early September"), "after-renovation": marked("after renovation"),
}  # fmt: skip
"""Stages of the windows in which a sample has a class."""


@dataclass(frozen=True, slots=True)
class CardRow:
    """One nutrient of the newest test, in the words of the reader."""

    name: str
    value: str
    shape: str
    word: str
    span: str


@dataclass(frozen=True, slots=True)
class Trend:
    """One nutrient over the samples of the same tissue and stage."""

    figure: Markup
    rows: list[tuple[date, str, str]]


def show_tests(visit: Visit) -> Response:
    """The page without a form in it."""
    return show(visit, farm_of(visit))


def show(
    visit: Visit,
    farm: FarmDefinition,
    *,
    faults: Mapping[str, Fault] | None = None,
    form_name: str = "",
    status: int = 200,
) -> Response:
    """The page, with the submitted form and its faults if it was refused."""
    block_id, words, service = visit.params["block_id"], visit.words, visit.service
    today = local_day(service.clock.now(), farm.zone)
    with service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=today)
    reports = list_reports(block_id, on=today, unit_of_work=service.unit_of_work)
    plant = next((each for each in reports if each.leaf is not None), None)
    nutrient = visit.query.get("nutrient", "")
    if nutrient not in NUTRIENT_NAMES:
        limiting = () if plant is None or plant.leaf is None else plant.leaf.most_limiting
        nutrient = next(iter(limiting), "N")
    plan, plan_faults = _plan(visit, block, today)
    return visit.show(
        "leaf_and_soil_tests.html",
        status=status,
        farm=farm,
        block=block,
        today=today,
        reports=reports,
        plant=plant,
        cards=[] if plant is None else _card_rows(plant, words),
        sources=[] if plant is None else _sources(plant, words),
        soil=next((each for each in reports if each.test.kind == "soil"), None),
        nutrient=nutrient,
        trend=_trend(reports, nutrient, words),
        plan=plan,
        plan_faults=plan_faults,
        lb_per_ac=LB_PER_AC_PER_KG_PER_HA,
        kg_per_pound=KG_PER_POUND,
        crops=crops_of_block(block.crop_key),
        samplings=_samplings(block, words),
        stage_words=STAGE_WORDS,
        names=NUTRIENT_NAMES,
        basis_words=BASIS_WORDS,
        vigours=VIGOUR_WORDS,
        plant_fields=PLANT_FIELDS,
        soil_fields=SOIL_FIELDS,
        extractants=EXTRACTANTS,
        textures=TEXTURES,
        may_write=visit.may(Right.FARM_WRITE),
        form=visit.form,
        form_name=form_name,
        faults=faults or {},
        done=visit.query.get("done", ""),
    )


def sampling_key(window: SamplingWindow) -> str:
    """The name of a tissue at a stage in the form."""
    return f"{window.tissue}.{window.stage}"


def _samplings(block: BlockDefinition, words: Wording) -> list[tuple[str, str]]:
    """What may be sampled of a block's crop: every tissue at its stages, with its words."""
    windows = {
        sampling_key(window): window
        for crop in crops_of_block(block.crop_key)
        for window in crop.windows
    }
    return [
        (
            key,
            words.gettext(
                "{tissue}, {stage}",
                tissue=words.gettext(TISSUE_WORDS[window.tissue]),
                stage=words.gettext(STAGE_WORDS[window.stage]),
            ),
        )
        for key, window in windows.items()
    ]


def shown_value(value: float, unit: str, words: Wording) -> str:
    """A value of the dry matter with its unit."""
    return f"{words.number(value, 2 if unit == '%' else 0)} {unit}"


def _card_rows(report: NutrientReport, words: Wording) -> list[CardRow]:
    cards = () if report.leaf is None else report.leaf.cards
    return [
        CardRow(
            name=words.gettext(NUTRIENT_NAMES[card.nutrient]),
            value="" if card.value is None else shown_value(card.value, card.unit, words),
            shape=SHAPES[card.leaf_class],
            word=words.gettext(card.word),
            span=_span(card, words),
        )
        for card in cards
    ]


def _span(card: NutrientCard, words: Wording) -> str:
    if card.low is None or card.high is None:
        return ""
    decimals = 2 if card.unit == "%" else 0
    return f"{words.number(card.low, decimals)} – {words.number(card.high, decimals)} {card.unit}"


def _sources(report: NutrientReport, words: Wording) -> list[tuple[str, str, str]]:
    """Nutrients, the source of their ranges, and how well it is known."""
    found: dict[tuple[str, str], list[str]] = {}
    for card in () if report.leaf is None else report.leaf.cards:
        if card.source:
            found.setdefault((card.source, card.basis), []).append(card.nutrient)
    return [
        (", ".join(names), source, words.gettext(BASIS_WORDS[basis]))
        for (source, basis), names in found.items()
    ]


def _trend(reports: Sequence[NutrientReport], nutrient: str, words: Wording) -> Trend | None:
    """The nutrient in all samples of the tissue and stage of the newest that has it."""
    having = [each for each in reports if each.leaf is not None and nutrient in each.values]
    if not having:
        return None
    alike = [each for each in reversed(having) if _sampled(each) == _sampled(having[0])]
    card = _card_of(having[0], nutrient)
    label = words.gettext(NUTRIENT_NAMES[nutrient])
    rows = [
        (
            each.test.day,
            shown_value(each.values[nutrient], card.unit, words),
            words.gettext(_card_of(each, nutrient).word),
        )
        for each in alike
    ]
    listed = [f"{words.short_day(day)} {day.year}: {value}, {word}" for day, value, word in rows]
    drawn = over_years(
        words.gettext("{nutrient} over the years", nutrient=label),
        "; ".join(listed),
        [
            Sample(
                each.test.day.year + (each.test.day.timetuple().tm_yday - 1) / DAYS_PER_LEAP_YEAR,
                each.values[nutrient],
                is_full=each.check is None or each.check.is_classed,
            )
            for each in alike
        ],
        band=None if card.low is None or card.high is None else (card.low, card.high),
        y_label=f"{label}, {card.unit}",
        band_label=words.gettext("sufficient"),
        name="trend",
    )
    return Trend(drawn, rows)


def _sampled(report: NutrientReport) -> tuple[str, str, str]:
    """What the sample was of: only the same can be compared."""
    return report.test.crop, report.test.tissue, report.test.stage


def _card_of(report: NutrientReport, nutrient: str) -> NutrientCard:
    """The card of a nutrient that was measured."""
    cards = () if report.leaf is None else report.leaf.cards
    return next(each for each in cards if each.nutrient == nutrient)


def _plan(
    visit: Visit, block: BlockDefinition, today: date
) -> tuple[NutrientPlan | None, dict[str, Fault]]:
    """The season's plan with what the reader says; or why there is none."""
    factor = LB_PER_AC_PER_KG_PER_HA if visit.words.unit_system == "us" else 1.0
    query = visit.query
    faults: dict[str, Fault] = {}
    given: dict[str, float | None] = {}
    for name in RATE_FIELDS.values():
        value = entered_number(query, name)
        if isinstance(value, str):
            faults[name] = Fault(name, value[:40], marked("a number such as 0.4"))
        given[name] = value / factor if isinstance(value, int | float) else None
    if faults:
        return None, faults
    vigour = query.get("vigour", "normal")
    try:
        return plan_nutrients(
            block.block_id,
            PlanRequest(
                crop=query.get("crop", ""),
                last_season_kg_per_ha=given["last_season"],
                legal_cap_kg_per_ha=given["legal_cap"],
                removal_kg_per_ha=given["harvest_nitrogen"] or 0.0,
                k2o_removal_kg_per_ha=given["harvest_k2o"] or 0.0,
                vigour=vigour if vigour in VIGOUR_FACTORS else "normal",
                is_plastic=query.get("plastic") == "yes",
                is_spread_dry=query.get("dry") == "yes",
            ),
            on=today,
            unit_of_work=visit.service.unit_of_work,
        ), {}
    except InputInvalid as error:
        return None, faults_by_field(error, {**RATE_FIELDS, "crop": "crop"})
