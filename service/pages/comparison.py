"""The page of a block's past season against a rule of thumb: what an adviser shows at a meeting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup
from starlette.responses import Response

from service.errors import Conflict, InputInvalid, WeatherInvalid
from service.operations.reading.read_farms import get_today
from service.operations.review.compare_block import compare_block
from service.operations.review.draw_comparison import draw_comparison
from service.pages.plans import farm_of
from service.pages.visit import Visit
from service.records.comparison import Against, Program, YearFigures
from service.records.farms import BlockDefinition
from service.translations import Wording

USUAL_RULES = {"us": "1.5 in/week", "si": "38 mm/week"}


@dataclass(frozen=True, slots=True)
class ProgramRow:
    """One program's year, as it is shown."""

    year: int
    program: str
    water: str
    drained: str
    rain_drained: str
    stress_days: str
    lost_use: str


@dataclass(frozen=True, slots=True)
class Part:
    """What was found."""

    rows: Sequence[ProgramRow]
    figure: Markup
    has_years: bool
    """Whether there is more than one year to tell apart."""
    has_own: bool
    """Whether it is known, in part at least, what was run."""


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
    if "rule" in visit.query:
        try:
            against = visit.service.farm_format.against(
                visit.query["rule"],
                days_a_week=_days_a_week(visit.query.get("days", "7")),
                water_price=None,
                nitrogen=None,
            )
            found = _part(block, _compared(visit, block, against), visit.words)
        except WeatherInvalid:
            says = "no-weather"
        except InputInvalid:
            says = "refused"
        except Conflict:
            says = "busy"
    return visit.show(
        "comparison.html",
        farm=farm,
        block=block,
        found=found,
        says=says,
        usual_rule=USUAL_RULES[visit.words.unit_system],
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


def _compared(visit: Visit, block: BlockDefinition, against: Against) -> tuple[YearFigures, ...]:
    return compare_block(
        block.block_id,
        span=(None, None),
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


def _part(block: BlockDefinition, years: Sequence[YearFigures], words: Wording) -> Part:
    names = program_names(words)
    return Part(
        rows=[
            ProgramRow(
                year=each.year,
                program=_named(each, names, words),
                water=words.depth(each.gross_mm),
                drained=words.depth(each.irrigation_drainage_mm),
                rain_drained=words.depth(each.rain_drainage_mm),
                stress_days=words.number(each.stress_day_count),
                lost_use=words.depth(each.lost_crop_et_mm),
            )
            for each in years
        ],
        figure=draw_comparison(
            block.name, years, names, is_us=words.unit_system == "us", words=words
        ),
        has_years=len({each.year for each in years}) > 1,
        has_own=any(each.program is Program.OWN for each in years),
    )
