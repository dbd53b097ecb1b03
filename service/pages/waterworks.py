"""The page of a block's pipes and water: what they give, whether they still do, and what goes in.

Everything is computed from stored data when the page is opened. Only the assessment of the supply
takes seconds and runs on request. Anything hazardous is shown with its cautions, and nothing here
opens or starts anything.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from markupsafe import Markup
from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWork
from service.errors import Conflict, Fault, InputInvalid, NotFound, PlanNotFound, WeatherInvalid
from service.operations.access.manage_keys import Right
from service.operations.reading.block_pipes import (
    PipeReport,
    design_uniformity_pct,
    solve_definition,
)
from service.operations.reading.planned_injections import PlannedInjection, planned_injection
from service.operations.reading.read_farms import local_day
from service.operations.reading.read_plans import get_plan
from service.operations.waterworks.assess_capacity import SupplyCapacity
from service.operations.waterworks.assess_supply import COMMON_YEAR_COUNT, assess_supply
from service.operations.waterworks.catch_tests import CatchReport, list_catch_tests
from service.operations.waterworks.check_flow import FlowReport, check_flow
from service.operations.waterworks.draw_figures import capacity_figure, flow_figure, row_figure
from service.operations.waterworks.order_fertigation import list_fertigations, list_products
from service.operations.waterworks.report_water import (
    CropReport,
    find_supply_key,
    report_block_water,
)
from service.pages import farm_forms, pipes_form
from service.pages.acid_rows import flush_rows, load_rows
from service.pages.plans import emitter_flow_text, farm_of, flow_text
from service.pages.visit import Visit
from service.records.farms import BlockDefinition, FarmDefinition
from service.records.waterworks import FertigationOrder
from service.translations import Wording
from service.translations.catalogue import marked
from service.unit_sizes import (
    KPA_PER_BAR,
    KPA_PER_M_OF_HEAD,
    KPA_PER_PSI,
    L_PER_H_PER_GPH,
    M2_PER_ACRE,
    M2_PER_HECTARE,
    M_PER_FOOT,
)
from service.waterworks.flow_check import FlowVerdict

Row = tuple[str, str]
"""A label, and a value with its unit."""
FLOW_CHECK_DAYS = 365
ORDER_DAYS = 365
SHOWN_RUNS = 10
SHOWN_EMITTERS = 21
SHOWN_TESTS = 5


@dataclass(frozen=True, slots=True)
class PipePart:
    """The solved pipes."""

    rows: list[Row]
    emitters: list[tuple[str, str, str, str]]
    """Number, distance, flow and pressure of some emitters along the row that gets the least."""
    figure: Markup
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FlowPart:
    """The metered runs of a year."""

    verdict: str
    rows: list[Row]
    runs: list[tuple[str, str, str, str]]
    """Day, minutes, metered and expected of the last runs."""
    figure: Markup
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CapacityPart:
    """One supply over the summers on record."""

    rows: list[Row]
    changes: list[tuple[str, str, str]]
    peaks: list[tuple[str, str, str, str, str]]
    figure: Markup
    cautions: tuple[str, ...]


def show_pipes_and_water(visit: Visit) -> Response:
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
    tomorrow = today + ONE_DAY
    with service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=tomorrow)
    orders = list_fertigations(
        block_id,
        first_day=today,
        last_day=today + timedelta(days=ORDER_DAYS),
        unit_of_work=service.unit_of_work,
    )
    capacity, capacity_says = _capacity(visit, farm, block)
    return visit.show(
        "pipes_and_water.html",
        status=status,
        farm=farm,
        block=block,
        pipes=_pipes(block, words),
        described=pipes_form.open_pipes(block, farm_forms.units_of(words)),
        units=farm_forms.units_of(words),
        tests=_tests(visit, block_id, tomorrow),
        capacity=capacity,
        capacity_says=capacity_says,
        flow=_flow(visit, block_id, today),
        water=_water(visit, block_id, tomorrow),
        orders=[(order, _order_text(order, words)) for order in orders],
        injection=_injection(visit, block_id, tomorrow),
        injection_texts=_injection_texts,
        products=[
            (each.key, words.gettext(each.name))
            for each in list_products(farm.farm_id, unit_of_work=service.unit_of_work)
        ],
        faults=faults or {},
        form=visit.form if form_name else {},
        form_name=form_name,
        today=today,
        tomorrow=tomorrow,
        done=visit.query.get("done", ""),
        may_write=visit.may(Right.FARM_WRITE),
        may_order=visit.may(Right.WATER_WRITE),
        fields=READING_FIELDS,
    )


def summary(unit: UnitOfWork, block: BlockDefinition, today: date, words: Wording) -> list[Row]:
    """One line each on pipes, field test, flow, water and fertiliser, for the block's own page."""
    key = unit.blocks.get_block_key(block.block_id)
    rows: list[Row] = []
    if block.layout is not None:
        evenness = _percent(design_uniformity_pct(block), words)
        rows.append((words.gettext("Emission uniformity of the pipes as designed"), evenness))
    tests = unit.waterworks.list_catch_tests(key)
    rows.append(
        (
            words.gettext("Last field test"),
            words.short_day(tests[0].day) if tests else words.gettext("none yet"),
        )
    )
    findings = unit.waterworks.list_findings(key)
    if findings:
        verdict = FlowVerdict[findings[0].verdict].value
        day = words.short_day(findings[0].day)
        rows.append((words.gettext("Flow"), f"{words.gettext(verdict)} ({day})"))
    samples = unit.waterworks.list_samples(find_supply_key(unit, block.farm_id, block.supply_id))
    rows.append(
        (
            words.gettext("Last water analysis"),
            words.short_day(samples[0].day) if samples else words.gettext("none yet"),
        )
    )
    orders = unit.waterworks.list_fertigations(
        key, first_day=today, last_day=today + timedelta(days=ORDER_DAYS)
    )
    if orders:
        text = f"{words.short_day(orders[0].day)}: {_order_text(orders[0], words)}"
        rows.append((words.gettext("Next injection"), text))
    return rows


# --- pipes ---------------------------------------------------------------------------------------


def _pipes(block: BlockDefinition, words: Wording) -> PipePart | None:
    """None: nobody has described them."""
    if block.layout is None:
        return None
    report = solve_definition(block)
    return PipePart(
        rows=[*_pipe_rows(report, words), *flush_rows(report, words)],
        emitters=_emitters(report, words),
        figure=row_figure(report, words),
        cautions=report.cautions,
    )


def _pipe_rows(report: PipeReport, words: Wording) -> list[Row]:
    flow, row, travel, layout = report.block, report.row, report.travel, report.layout
    head = flow.takeoff_head_m
    emitters = row.emitter_flow_l_per_h
    counted_l_per_h = report.counted_flow_l_per_h or flow.inlet_flow_l_per_h
    longest = words.gettext(
        "{length}, {count} emitters",
        length=_length(report.longest.length_m, words),
        count=words.number(report.longest.emitter_count),
    )
    if report.longest.is_search_limit:
        longest = words.gettext("{length} or more", length=longest)
    rows = [
        (words.gettext("Flow of the block"), flow_text(counted_l_per_h, words)),
        (
            words.gettext("Pressure at the row inlets, lowest and highest"),
            f"{_pressure(float(head.min()), words)} – {_pressure(float(head.max()), words)}",
        ),
        (
            words.gettext("Emitter flow in the row that gets the least, lowest and highest"),
            f"{emitter_flow_text(float(emitters.min()), words)} –"
            f" {emitter_flow_text(float(emitters.max()), words)}",
        ),
        (
            words.gettext("Emission uniformity as designed"),
            _percent(flow.design_uniformity_pct, words),
        ),
        (
            words.gettext(
                "Longest row for {uniformity}",
                uniformity=_percent(report.target_uniformity_pct, words),
            ),
            longest,
        ),
    ]
    if not flow.dry_emitter_count:  # where water does not reach, there is no travel time
        rows += [
            (words.gettext("Time to fill empty pipes"), words.minutes(travel.fill_time_min)),
            (
                words.gettext("Travel time to the last emitter"),
                words.minutes(travel.last_travel_min),
            ),
        ]
    if layout.regulator_set_head_m is not None:
        most = layout.regulator_highest_flow_l_per_h
        span = flow_text(layout.regulator_lowest_flow_l_per_h, words)
        if math.isfinite(most):
            span = f"{span} – {flow_text(most, words)}"
        rows.append(
            (
                words.gettext("Pressure regulator"),
                words.gettext(
                    "set to {pressure}, works at {span}; the block takes {flow}",
                    pressure=_pressure(layout.regulator_set_head_m, words),
                    span=span,
                    flow=flow_text(flow.inlet_flow_l_per_h, words),
                ),
            )
        )
    return rows


def _emitters(report: PipeReport, words: Wording) -> list[tuple[str, str, str, str]]:
    flow, head = report.row.emitter_flow_l_per_h, report.row.emitter_head_m
    first = report.layout.first_segment_m
    begin = report.emitter_spacing_m if first is None else first
    step = max(1, math.ceil((flow.size - 1) / (SHOWN_EMITTERS - 1)))
    places = sorted({*range(0, flow.size, step), flow.size - 1})
    return [
        (
            words.number(place + 1),
            _length(begin + place * report.emitter_spacing_m, words),
            emitter_flow_text(float(flow[place]), words),
            _pressure(float(head[place]), words),
        )
        for place in places
    ]


def _tests(visit: Visit, block_id: str, on: date) -> list[tuple[CatchReport, str]]:
    """The newest field tests with their results."""
    words = visit.words
    found = list_catch_tests(block_id, on=on, unit_of_work=visit.service.unit_of_work)
    return [
        (
            report,
            words.gettext(
                "{uniformity} from {count} emitters; {low} to {high} with {confidence} confidence",
                uniformity=_percent(report.uniformity.emission_uniformity_pct, words),
                count=words.number(report.uniformity.sample_count),
                confidence=_percent(report.uniformity.confidence_pct, words),
                low=_percent(report.uniformity.emission_uniformity_low_pct, words),
                high=_percent(report.uniformity.emission_uniformity_high_pct, words),
            ),
        )
        for report in found[:SHOWN_TESTS]
    ]


# --- supply and flow -----------------------------------------------------------------------------


def _capacity(
    visit: Visit, farm: FarmDefinition, block: BlockDefinition
) -> tuple[CapacityPart | None, tuple[str, tuple[Fault, ...]]]:
    """The assessment if it was requested, or why there is none."""
    nothing: tuple[str, tuple[Fault, ...]] = ("", ())
    if "capacity" not in visit.query:
        return None, nothing
    text = visit.query["capacity"]
    years = int(text) if text.isdecimal() and len(text) < 3 else COMMON_YEAR_COUNT
    try:
        found = assess_supply(
            farm.farm_id,
            block.supply_id,
            year_count=years,
            unit_of_work=visit.service.unit_of_work,
            clock=visit.service.clock,
            source_order=visit.service.source_order,
        )
    except WeatherInvalid as error:
        return None, ("no-weather", error.faults)
    except InputInvalid as error:
        return None, ("refused", error.faults)
    except Conflict:
        return None, ("busy", ())
    words = visit.words
    (supply,) = found.supplies
    return (
        CapacityPart(
            rows=_capacity_rows(supply, words),
            changes=[
                (
                    _change_text(each.name, supply, words),
                    words.gettext("not possible")
                    if each.kept_share is None
                    else words.percent(each.kept_share),
                    each.reason,
                )
                for each in supply.changes
            ],
            peaks=[
                (
                    words.number(peak.span_days),
                    words.percent(peak.year_share),
                    words.depth(peak.gross_mm / peak.span_days),
                    flow_text(peak.needed_flow_l_per_h, words),
                    _area(peak.carried_ha, words),
                )
                for peak in supply.peaks
            ],
            figure=capacity_figure(_translated(supply, words), words),
            cautions=(*found.cautions, *(f"left out: {each}" for each in found.left_out)),
        ),
        nothing,
    )


def _translated(supply: SupplyCapacity, words: Wording) -> SupplyCapacity:
    """The same, with its changes named in the reader's language."""
    changes = [
        replace(each, name=_change_text(each.name, supply, words)) for each in supply.changes
    ]
    return replace(supply, changes=tuple(changes))


def _change_text(name: str, supply: SupplyCapacity, words: Wording) -> str:
    kind, _, factor = name.partition("-")
    if kind == "pump":
        return words.gettext(
            "a pump that gives {flow}", flow=flow_text(float(factor) * supply.flow_l_per_h, words)
        )
    return words.gettext(_CHANGES[name])


_CHANGES = {
    "now": marked("as it is"),
    "windows-24-h": marked("open day and night"),
    "second-line": marked("a second drip line in each row"),
    "weekly-hours": marked("water in the weekly hours without it too"),
    "full-grown": marked("plants at their full size"),
}


def _capacity_rows(supply: SupplyCapacity, words: Wording) -> list[Row]:
    kept = [summer for summer in supply.summers if all(summer.keeps_up)]
    design = supply.design_peak
    return [
        (words.gettext("Flow of the supply"), flow_text(supply.flow_l_per_h, words)),
        (words.gettext("Area it waters"), _area(supply.area_ha, words)),
        (
            words.gettext("The largest block alone takes"),
            flow_text(supply.largest.flow_l_per_h, words),
        ),
        (words.gettext("Open hours per day"), words.number(supply.open_time_h, 1)),
        (
            words.gettext("Summers in which it kept up"),
            words.gettext(
                "{kept} of {count}",
                kept=words.number(len(kept)),
                count=words.number(len(supply.summers)),
            ),
        ),
        (
            words.gettext(
                "Crop water use in the peak week, from the summers and from the shaded area"
            ),
            f"{words.depth(design.summer_use_mm)}, {words.depth(design.shade_use_mm)}",
        ),
    ]


def _flow(visit: Visit, block_id: str, today: date) -> FlowPart | None:
    """None: no run with a metered volume in the last year."""
    report = check_flow(
        block_id,
        first_day=today - timedelta(days=FLOW_CHECK_DAYS),
        last_day=today,
        unit_of_work=visit.service.unit_of_work,
    )
    if not report.days.size:
        return None
    words = visit.words
    last = slice(max(0, report.days.size - SHOWN_RUNS), None)
    return FlowPart(
        verdict=_sentence(words.gettext(report.verdict.value)),
        rows=_flow_rows(report, words),
        runs=[
            (
                words.short_day(day),
                words.number(minutes),
                words.volume(metered),
                words.volume(expected),
            )
            for day, minutes, metered, expected in zip(
                report.days[last].astype("datetime64[D]").tolist(),
                report.duration_min[last].tolist(),
                report.metered_l[last].tolist(),
                report.expected_l[last].tolist(),
                strict=True,
            )
        ][::-1],
        figure=flow_figure(report, words),
        cautions=report.cautions,
    )


def _flow_rows(report: FlowReport, words: Wording) -> list[Row]:
    check = report.check
    days = report.days.astype("datetime64[D]").tolist()
    rows = [(words.gettext("Metered runs in the last year"), words.number(report.days.size))]
    if math.isfinite(check.level_ratio):
        rows.append(
            (
                words.gettext("Metered as a share of expected, at the start"),
                words.percent(check.level_ratio),
            )
        )
    rows += [
        (
            words.gettext("Sudden change on {day}", day=words.short_day(days[jump.run])),
            _signed(jump.change_fraction, words),
        )
        for jump in check.jumps
    ]
    slow = check.slow_change
    if slow is not None:
        day = words.short_day(days[slow.from_run])
        rows.append(
            (
                words.gettext("Gradual change since {day}", day=day),
                _signed(slow.change_fraction, words),
            )
        )
    return rows


# --- water ---------------------------------------------------------------------------------------

READING_FIELDS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("ph", "pH", ()),
    ("ec", marked("EC"), ("dS/m", "uS/cm")),
    ("alkalinity", marked("alkalinity"), ("mg/L CaCO3", "meq/L")),
    ("bicarbonate", marked("bicarbonate"), ("mg/L", "meq/L")),
    ("calcium", marked("calcium"), ("mg/L", "meq/L")),
    ("magnesium", marked("magnesium"), ("mg/L", "meq/L")),
    ("sodium", marked("sodium"), ("mg/L", "meq/L")),
    ("potassium", marked("potassium"), ("mg/L", "meq/L")),
    ("chloride", marked("chloride"), ("mg/L", "meq/L")),
    ("sulfate", marked("sulfate (as SO4)"), ("mg/L", "meq/L")),
    ("nitrate-nitrogen", marked("nitrate (as N)"), ("mg/L",)),
    ("boron", marked("boron"), ("mg/L",)),
    ("iron", marked("iron"), ("mg/L",)),
    ("manganese", marked("manganese"), ("mg/L",)),
    ("hydrogen-sulfide", marked("hydrogen sulfide"), ("mg/L",)),
    ("hardness", marked("hardness"), ("mg/L CaCO3",)),
    ("dissolved-solids", marked("dissolved solids"), ("mg/L",)),
    ("suspended-solids", marked("suspended solids"), ("mg/L",)),
    ("bacteria", marked("bacteria"), ("/mL", "/100 mL")),
)
"""What the form of an analysis asks for: key, name and the units that laboratories print."""


@dataclass(frozen=True, slots=True)
class WaterPart:
    """Interpretation of the newest analysis."""

    report: CropReport
    rows: list[Row]


def _water(visit: Visit, block_id: str, on: date) -> WaterPart | None:
    """None: there is no analysis of the supply."""
    words = visit.words
    try:
        found = report_block_water(block_id, on=on, unit_of_work=visit.service.unit_of_work)
    except NotFound:
        return None
    report = found.report
    rows: list[Row] = []
    balance = report.analysis.charge_balance
    text = words.gettext("not known, as an ion is missing or was itself derived from them")
    if balance is not None:
        text = words.gettext(
            "{difference} between cations and anions", difference=_percent(
                abs(balance.difference_pct), words
            )
        )  # fmt: skip
    rows.append((words.gettext("Ion balance of the analysis"), text))
    if report.sodium_adsorption_ratio is not None:
        rows.append(
            (
                words.gettext("Sodium adsorption ratio, SAR"),
                words.number(report.sodium_adsorption_ratio, 1),
            )
        )
    if report.saturation is not None:
        rows.append(
            (
                words.gettext("Calcium carbonate saturation"),
                f"{words.number(report.saturation.calcite_index, 2)}:"
                f" {words.gettext(report.saturation.word)}",
            )
        )
    if report.salinity is not None:
        rows += _salinity_rows(found, words)
    return WaterPart(found, [*rows, *load_rows(found.nitrogen_loads, words)])


def _salinity_rows(found: CropReport, words: Wording) -> list[Row]:
    salinity = found.report.salinity
    if salinity is None:
        return []
    needed = salinity.drip_leaching_requirement_fraction
    used = found.plan_leaching_fraction or 0.0
    return [
        (
            words.gettext("Leaching requirement of the crop under drip"),
            words.gettext("none is enough") if needed is None else words.percent(needed),
        ),
        (
            words.gettext("Leaching used in the plan"),
            words.percent(used) if used > 0.0 else words.gettext("none"),
        ),
        (
            words.gettext("Yield without rain, with {share} leaching", share=words.percent(
                salinity.leaching_fraction
            )),
            _percent(salinity.relative_yield_pct, words),
        ),
    ]  # fmt: skip


# --- fertiliser ----------------------------------------------------------------------------------


def _injection(visit: Visit, block_id: str, day: date) -> tuple[PlannedInjection, str] | None:
    """Tomorrow's injection, and the zone of its times; None where nothing is to be injected."""
    try:
        view = get_plan(block_id, day=day, unit_of_work=visit.service.unit_of_work)
    except PlanNotFound:
        return None
    found = planned_injection(view.plan)
    return None if found is None else (found, view.zone)


def _injection_texts(found: PlannedInjection, zone: str, words: Wording) -> list[str]:
    """When the injector runs, and how fast."""
    rate = found.injector_l_per_h or 0.0
    return [
        words.gettext(
            "{start} to {end}: injector at {rate}, after clean water and before the flush",
            start=words.clock(start, zone),
            end=words.clock(end, zone),
            rate=_rate(rate, words),
        )
        for start, end in found.spans
    ]


def _order_text(order: FertigationOrder, words: Wording) -> str:
    what = ", ".join(
        f"{words.number(mass_kg, 1)} kg {words.gettext(product.name)}"
        for product, mass_kg in order.product_kg
    )
    return words.gettext("{what} in {stock} of stock", what=what, stock=words.volume(order.stock_l))


# --- numbers -------------------------------------------------------------------------------------


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _percent(value_pct: float, words: Wording) -> str:
    return words.percent(value_pct / 100.0)


def _signed(fraction: float, words: Wording) -> str:
    return f"{'+' if fraction > 0.0 else ''}{words.percent(fraction)}"


def _pressure(head_m: float, words: Wording) -> str:
    kpa = head_m * KPA_PER_M_OF_HEAD
    if words.unit_system == "us":
        return f"{words.number(kpa / KPA_PER_PSI, 1)} psi"
    return f"{words.number(kpa / KPA_PER_BAR, 2)} bar"


def _rate(rate_l_per_h: float, words: Wording) -> str:
    if words.unit_system == "us":
        return f"{words.number(rate_l_per_h / L_PER_H_PER_GPH, 2)} gal/h"
    return f"{words.number(rate_l_per_h, 1)} L/h"


def _length(length_m: float, words: Wording) -> str:
    if words.unit_system == "us":
        return f"{words.number(length_m / M_PER_FOOT)} {words.unit('ft')}"
    return f"{words.number(length_m, 1)} m"


def _area(area_ha: float, words: Wording) -> str:
    if words.unit_system == "us":
        return f"{words.number(area_ha * M2_PER_HECTARE / M2_PER_ACRE, 1)} ac"
    return f"{words.number(area_ha, 2)} ha"
