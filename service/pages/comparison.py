"""The page of a block's past season against a rule of thumb: what an adviser shows at a meeting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from markupsafe import Markup
from starlette.responses import Response

from service.errors import Conflict, Fault, InputInvalid, WeatherInvalid
from service.operations.reading.read_farms import get_today
from service.operations.review.compare_block import compare_block
from service.operations.review.draw_comparison import draw_comparison
from service.pages.per_area import bare_per_area, per_area_unit
from service.pages.plans import farm_of, parsed_day
from service.pages.visit import Visit, faults_by_field
from service.records.comparison import (
    Against,
    Program,
    YearFigures,
    total_of_years,
    whole_programs,
)
from service.records.farms import BlockDefinition
from service.translations import Wording
from service.translations.catalogue import marked

USUAL_RULES = {"us": "1.5 in/week", "si": "38 mm/week"}
USUAL_PRICES = {"us": "1.50/1000 gal", "si": "0.40/m3"}
USUAL_NITROGEN = {"us": "70 lb/ac", "si": "80 kg/ha"}
FIELDS = {
    "rule": "rule", "days a week": "rule", "water_price": "price", "nitrogen": "nitrogen",
    "from": "from", "to": "to",
}  # fmt: skip
"""Fields of the form by what a fault names."""


@dataclass(frozen=True, slots=True)
class ProgramRow:
    """One program's year, as it is shown."""

    program: str
    water: str
    drained: str
    rain_drained: str
    stress_days: str
    lost_use: str
    cost: str
    nitrogen: str


@dataclass(frozen=True, slots=True)
class Part:
    """What was found."""

    groups: Sequence[tuple[str, Sequence[ProgramRow]]]
    """The programs of each year, and of all of them; without a heading where it is one year."""
    figure: Markup
    has_own: bool
    """Whether it is known, in part at least, what was run."""
    has_price: bool
    has_nitrogen: bool
    depth_unit: str
    per_area: str


def program_names(words: Wording) -> Mapping[Program, str]:
    """The programs in a reader's language."""
    return {
        Program.RULE: words.gettext("rule of thumb"),
        Program.WEEKLY: words.gettext("weekly timer"),
        Program.DAILY: words.gettext("daily plan"),
        Program.FORESEEN: words.gettext("known weather"),
        Program.OWN: words.gettext("what was run"),
    }


def show_comparison(visit: Visit) -> Response:
    """The form, and the comparison once a rule is given."""
    farm = farm_of(visit)
    block = _block(visit)
    found, says = None, ""
    faults: dict[str, Fault] = {}
    if "rule" in visit.query:
        query = visit.query
        try:
            against = visit.service.farm_format.against(
                query["rule"],
                days_a_week=_days_a_week(query.get("days", "7")),
                water_price=query.get("price") or None,
                nitrogen=query.get("nitrogen") or None,
            )
            years = _compared(visit, block, against, (_day(query, "from"), _day(query, "to")))
            found = _part(block, years, against, visit.words)
        except WeatherInvalid:
            says = "no-weather"
        except InputInvalid as error:
            says, faults = "refused", faults_by_field(error, FIELDS)
        except Conflict:
            says = "busy"
    return visit.show(
        "comparison.html",
        farm=farm,
        block=block,
        found=found,
        says=says,
        faults=faults,
        usual_rule=USUAL_RULES[visit.words.unit_system],
        usual_price=USUAL_PRICES[visit.words.unit_system],
        usual_nitrogen=USUAL_NITROGEN[visit.words.unit_system],
        form=visit.query,
    )


def _block(visit: Visit) -> BlockDefinition:
    service = visit.service
    block_id = visit.params["block_id"]
    today = get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock)
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_block(block_id, day=today)


def _days_a_week(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) == 1 else 0


def _day(query: Mapping[str, str], name: str) -> date | None:
    """A day of the form; raises InputInvalid for a text that is none."""
    text = query.get(name, "")
    day = parsed_day(text)
    if text and day is None:
        fault = Fault(name, repr(text)[:40], marked("a day such as 2026-07-14"))
        raise InputInvalid("the comparison cannot run", [fault])
    return day


def _compared(
    visit: Visit, block: BlockDefinition, against: Against, span: tuple[date | None, date | None]
) -> tuple[YearFigures, ...]:
    return compare_block(
        block.block_id,
        span=span,
        against=against,
        unit_of_work=visit.service.unit_of_work,
        clock=visit.service.clock,
        source_order=visit.service.source_order,
    )


def _named(each: YearFigures, names: Mapping[Program, str], words: Wording) -> str:
    """A program, and how many days are known of one that is not known whole."""
    if each.is_whole:
        return names[each.program]
    return words.gettext(
        "{program}: {known} of {days} days known",
        program=names[each.program],
        known=words.number(each.known_day_count),
        days=words.number(each.season_day_count),
    )


def _row(each: YearFigures, words: Wording) -> ProgramRow:
    cost, lost = each.water_cost, each.nitrogen_lost_kg_per_ha
    not_stated = words.gettext("not stated")
    return ProgramRow(
        program=_named(each, program_names(words), words),
        water=words.bare_depth(each.gross_mm),
        drained=words.bare_depth(each.irrigation_drainage_mm),
        rain_drained=words.bare_depth(each.rain_drainage_mm),
        stress_days=words.number(each.stress_day_count),
        lost_use=words.bare_depth(each.lost_crop_et_mm),
        cost=not_stated if cost is None else words.number(cost),
        nitrogen=not_stated if lost is None else bare_per_area(lost, words),
    )


def _part(
    block: BlockDefinition, years: Sequence[YearFigures], against: Against, words: Wording
) -> Part:
    names = program_names(words)
    groups = [
        (str(year), [_row(each, words) for each in of_year])
        for year, of_year in groupby(years, lambda each: each.year)
    ]
    if len(groups) == 1:
        groups = [("", groups[0][1])]
    else:
        totals = [total_of_years(years, program) for program in whole_programs(years)]
        groups.append((words.gettext("all years"), [_row(each, words) for each in totals]))
    return Part(
        groups=groups,
        figure=draw_comparison(
            block.name, years, names, is_us=words.unit_system == "us", words=words
        ),
        has_own=any(each.program is Program.OWN for each in years),
        has_price=against.water_price is not None,
        has_nitrogen=against.nitrogen_kg_per_ha is not None,
        depth_unit=words.depth_unit,
        per_area=per_area_unit(words),
    )
