"""First steps and every later change: a farm, its supplies, its blocks and who gets its mail, all
through pages, up to its first plan.

What a form says is put into the same document as a farm file, and checked by the same reader, so
that each fault comes back beside its field. A form carries the version that it was opened with;
where somebody changed the thing meanwhile nothing is stored, what was typed stays, and the stored
values are shown beside it. A preview reads the block without storing it: how long one inch of water
takes, and which numbers were not given and where they come from instead.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from starlette.responses import Response

from service.database.session import UnitOfWork
from service.delivery.weekly_words import hours_words
from service.errors import Conflict, Fault, InputInvalid, NotFound, Stale
from service.operations.access.manage_keys import Right
from service.operations.access.people import list_people
from service.operations.farms import change_farms
from service.operations.farms.change_farms import Keeper
from service.operations.weather.read_sites import CountySite, list_counties
from service.pages import control_fields, farm_forms, risk_fields, site_fields, weekly_fields
from service.pages.block_copy import copied_block, without_name
from service.pages.block_preview import Preview, preview_of
from service.pages.blocks_by_supply import blocks_by_supply
from service.pages.coordinates import place_text
from service.pages.farm_forms import Opened, Table
from service.pages.named_choices import ZONES, crops_by_group, textures_by_key
from service.pages.plans import farm_of, flow_text
from service.pages.quantity_faults import in_own_units
from service.pages.season_fields import estimated_season
from service.pages.set_up_steps import Step, new_set_up, next_address, set_up_of
from service.pages.soil_form import store_wetness, wetness_choices
from service.pages.visit import UNIT_SYSTEMS, Visit, redirect
from service.pages.window_fields import clock_text, shown_windows, window_rows
from service.records.farms import BlockDefinition, FarmBundle, FarmDefinition, SupplyDefinition
from service.translations.catalogue import marked

BLOCK_FIELDS = (
    "name", "crop", "texture", "wetness", "season_start", "stage_1", "watering_from", "watering_to",
    "last_nitrogen", "opens_1", "canopy_measured_on", *farm_forms.QUANTITIES, *farm_forms.COUNTS,
    *control_fields.FIELDS, risk_fields.FIELD,
)  # fmt: skip
"""Fields that a fault can stand beside; supply and place only where there are several."""


@dataclass(frozen=True, slots=True)
class FormNotes:
    """What a form shows beside what was typed."""

    faults: Mapping[str, Fault]
    newer: Mapping[str, str]
    """What is stored now, by field, where somebody changed the thing meanwhile."""
    status: int = 200


NO_NOTES = FormNotes({}, {})


# --- the farm ------------------------------------------------------------------------------------


def show_setup(visit: Visit) -> Response:
    """The parts of the farm, what is still missing, and links to change each part."""
    farm = farm_of(visit)
    bundle = farm_now(visit, farm.farm_id)
    words = visit.words
    may_change = visit.may(Right.FARM_WRITE)
    return visit.show(
        "setup.html",
        farm=farm,
        bundle=bundle,
        supplies=[(each, flow_text(each.flow_l_per_h, words)) for each in bundle.supplies],
        hours_words=hours_words,
        groups=blocks_by_supply(bundle),
        flow_of=lambda block: flow_text(block.flow_l_per_h, words),
        people=list_people(farm_id=farm.farm_id, unit_of_work=visit.service.unit_of_work)
        if may_change
        else (),
        may_change=may_change,
        set_up=set_up_of(visit, farm, None) if may_change else None,
        place_of=lambda site: place_text(site.latitude_deg, site.longitude_deg, words),
        done=visit.query.get("done", ""),
    )


def new_farm(visit: Visit) -> Response:
    """The form for a farm, or the farm stored."""
    visitor = visit.need(Right.FARM_WRITE)
    if not visit.form:
        return _farm_form(visit, NO_NOTES)
    visit.form = form = site_fields.with_county(visit.form, _counties(visit))
    if form.get("unit_system") in UNIT_SYSTEMS:
        visit.unit_system = form["unit_system"]
    farm_id = visitor.farm_id or farm_forms.slug(form.get("name", ""))
    document: Table = {
        "farm": farm_forms.farm_table(form, farm_id),
        "site": [farm_forms.site_table(form, _site_id(farm_id))],
    }
    try:
        with visit.service.unit_of_work(write=True) as unit:
            stored = change_farms.create_farm(unit, document, keeper_of(visit))
    except InputInvalid as error:
        return _farm_form(visit, _refused(error))
    except Conflict:
        taken = Fault("name", repr(farm_id), marked("a name that no other farm has"))
        return _farm_form(visit, FormNotes({"name": taken}, {}, status=409))
    return redirect(next_address(visit, _farm(stored.bundle), Step.FARM))


def edit_farm(visit: Visit) -> Response:
    """The form of a farm with what is stored, or the farm changed."""
    farm = farm_of(visit, Right.FARM_WRITE)
    bundle = farm_now(visit, farm.farm_id)
    bare = visit.service.farm_format.document(replace(bundle, blocks=(), controllers=()))
    opened = farm_forms.open_farm(bundle, bare, farm_forms.units_of(visit.words))

    def store() -> None:
        document = visit.service.farm_format.document(bundle)
        _replace_farm(visit, bundle, farm_forms.change_farm(document, visit.form, opened))

    return _edit(
        visit,
        opened,
        show=lambda notes: _farm_form(visit, notes, opened=opened, bundle=bundle),
        store=store,
        farm=farm,
        step=Step.FARM,
    )


# --- supplies ------------------------------------------------------------------------------------


def new_supply(visit: Visit) -> Response:
    """One more pump, well or hydrant."""
    farm = farm_of(visit, Right.FARM_WRITE)
    bundle = farm_now(visit, farm.farm_id)

    def store() -> None:
        document = visit.service.farm_format.document(bundle)
        tables = farm_forms.tables_of(document, "supply")
        added = weekly_fields.with_weekly(farm_forms.supply_table(visit.form), visit.form)
        _replace_farm(
            visit,
            bundle,
            {**document, "supply": [*tables, added]},
        )

    return _edit(
        visit,
        None,
        show=lambda notes: _supply_form(visit, bundle, notes),
        store=store,
        farm=farm,
        step=Step.WATER,
    )


def edit_supply(visit: Visit) -> Response:
    """The form of a supply with what is stored, or the supply changed."""
    farm = farm_of(visit, Right.FARM_WRITE)
    bundle, document = _farm_and_document(visit, farm.farm_id)
    supply, opened = _opened_supply(visit, bundle, document)
    return _edit(
        visit,
        opened,
        show=lambda notes: _supply_form(visit, bundle, notes, opened=opened, supply=supply),
        store=lambda: _replace_farm(
            visit,
            bundle,
            weekly_fields.change_weekly(
                farm_forms.change_supply(document, supply.supply_id, visit.form, opened),
                supply.supply_id,
                visit.form,
                opened,
            ),
        ),
        farm=farm,
        step=Step.WATER,
    )


def retire_supply(visit: Visit) -> Response:
    """Asks whether a supply is to go, or takes it out of use; not while a block draws on it."""
    farm = farm_of(visit, Right.FARM_WRITE)
    bundle, document = _farm_and_document(visit, farm.farm_id)
    supply, opened = _opened_supply(visit, bundle, document)
    users = [block.name for block in bundle.blocks if block.supply_id == supply.supply_id]
    kept = [
        table
        for table in farm_forms.tables_of(document, "supply")
        if table["id"] != supply.supply_id
    ]

    def store() -> None:
        if users:
            raise Stale("blocks draw on it")
        _replace_farm(visit, bundle, {**document, "supply": kept})

    return _retire(
        visit,
        opened,
        store,
        farm=farm,
        name=supply.name,
        kind="supply",
        users=users,
        back=f"/farms/{farm.farm_id}/supplies/{supply.supply_id}/edit",
    )


# --- blocks --------------------------------------------------------------------------------------


def new_block(visit: Visit) -> Response:
    """The form for a block, its preview, or the block stored; empty, or like one there is."""
    farm = farm_of(visit, Right.FARM_WRITE)
    bundle = farm_now(visit, farm.farm_id)
    source, like, opened = None, None, None
    if visit.query.get("copy"):
        source, alone, opened = _opened_block(visit, bundle, visit.query["copy"])
        (like,) = farm_forms.tables_of(alone, "block")

    def show(notes: FormNotes, preview: Preview | None = None) -> Response:
        shown = None if opened is None else without_name(opened)
        return _block_form(visit, bundle, notes, preview=preview, opened=shown, source=source)

    def document() -> Table:
        stored = visit.service.farm_format.document(bundle)
        tables = farm_forms.tables_of(stored, "block")
        added = (
            farm_forms.block_table(visit.form)
            if like is None or opened is None
            else copied_block(like, visit.form, opened)
        )
        return {**stored, "block": [*tables, added]}

    def store() -> None:
        with visit.service.unit_of_work(write=True) as unit:
            stored = _replace_farm_in(unit, visit, bundle, document())
            if visit.form.get("wetness"):
                now = visit.service.clock.now()
                store_wetness(visit, unit, stored.bundle.blocks[-1].block_id, now)

    if visit.form.get("do") == "preview":
        return _previewed(visit, None, bundle, document, show)
    return _edit(
        visit,
        None,
        show=show,
        store=store,
        farm=farm,
        step=Step.BLOCK,
    )


def edit_block(visit: Visit) -> Response:
    """The form of a block with what is stored, its preview, or the block changed."""
    farm = farm_of(visit, Right.FARM_WRITE)
    bundle = farm_now(visit, farm.farm_id)
    block, document, opened = _opened_block(visit, bundle, visit.params["block_id"])

    def show(notes: FormNotes, preview: Preview | None = None) -> Response:
        return _block_form(
            visit, bundle, notes, preview=preview, opened=opened, source=block, block=block
        )

    def changed() -> Table:
        (table,) = farm_forms.tables_of(document, "block")
        return farm_forms.change_block(table, visit.form, opened)

    if visit.form.get("do") == "preview":
        return _previewed(visit, opened, bundle, lambda: {**document, "block": [changed()]}, show)

    def store() -> None:
        with visit.service.unit_of_work(write=True) as unit:
            change_farms.replace_block(
                unit,
                block.block_id,
                changed(),
                keeper_of(visit),
                is_current=lambda now: now == block,
            )

    return _edit(visit, opened, show=show, store=store, farm=farm, step=Step.BLOCK)


def retire_block(visit: Visit) -> Response:
    """Asks whether a block is to go, or takes it out of use from today on."""
    farm = farm_of(visit, Right.FARM_WRITE)
    bundle = farm_now(visit, farm.farm_id)
    block, _, opened = _opened_block(visit, bundle, visit.params["block_id"])

    def store() -> None:
        with visit.service.unit_of_work(write=True) as unit:
            change_farms.retire_block(
                unit, block.block_id, keeper_of(visit), is_current=lambda now: now == block
            )

    return _retire(
        visit,
        opened,
        store,
        done="retired",
        farm=farm,
        name=block.name,
        kind="block",
        users=(),
        back=f"/blocks/{block.block_id}/edit",
    )


# --- parts ---------------------------------------------------------------------------------------


def _edit(
    visit: Visit,
    opened: Opened | None,
    *,
    show: Callable[[FormNotes], Response],
    store: Callable[[], object],
    farm: FarmDefinition,
    step: Step | None = None,
    done: str = "stored",
) -> Response:
    """A form shown, or what it says stored unless somebody changed the thing meanwhile.

    A step of setting up goes on to the next one until the farm has its first plan.
    """
    if not visit.form:
        return show(NO_NOTES)
    try:
        _check_version(visit, opened)
        store()
    except InputInvalid as error:
        return show(_refused(error))
    except Stale:
        return show(_outdated(visit, opened))
    following = "" if step is None else next_address(visit, farm, step)
    return redirect(following or f"/farms/{farm.farm_id}/setup", done=done)


def _retire(
    visit: Visit,
    opened: Opened,
    store: Callable[[], object],
    *,
    farm: FarmDefinition,
    name: str,
    kind: str,
    users: Sequence[str],
    back: str,
    done: str = "stored",
) -> Response:
    """The page that asks whether something is to go, or what it says done."""
    return _edit(
        visit,
        opened,
        show=lambda notes: visit.show(
            "retire.html",
            status=notes.status,
            farm=farm,
            name=name,
            kind=kind,
            users=users,
            version=opened.version,
            is_stale=bool(visit.form),
            back=back,
        ),
        store=store,
        farm=farm,
        done=done,
    )


def _check_version(visit: Visit, opened: Opened | None) -> None:
    if opened is not None and visit.form.get("version") != opened.version:
        raise Stale("it has changed since the form was opened")


def _outdated(visit: Visit, opened: Opened | None) -> FormNotes:
    newer = {} if opened is None else farm_forms.newer(opened, visit.form)
    return FormNotes({}, newer, status=409)


def _previewed(
    visit: Visit,
    opened: Opened | None,
    bundle: FarmBundle,
    document: Callable[[], Table],
    show: Callable[[FormNotes, Preview | None], Response],
) -> Response:
    """A block read and shown, not stored; the form that comes with it carries the version of
    now, so that anyone looking at an older one is warned first."""
    try:
        _check_version(visit, opened)
        read = visit.service.farm_format.parse(document())
    except InputInvalid as error:
        return show(_refused(error), None)
    except Stale:
        return show(_outdated(visit, opened), None)
    return show(NO_NOTES, preview_of(visit, read.blocks[-1], bundle))


def _refused(error: InputInvalid) -> FormNotes:
    return FormNotes(farm_forms.faults_of(error), {}, status=422)


def farm_now(visit: Visit, farm_id: str) -> FarmBundle:
    """The farm as it is from today on."""
    return change_farms.get_farm_now(
        farm_id, unit_of_work=visit.service.unit_of_work, clock=visit.service.clock
    )


def _farm(bundle: FarmBundle) -> FarmDefinition:
    """The farm that a bundle of pages always has."""
    if bundle.farm is None:
        raise NotFound("the bundle is of no farm")
    return bundle.farm


def _farm_and_document(visit: Visit, farm_id: str) -> tuple[FarmBundle, Table]:
    bundle = farm_now(visit, farm_id)
    return bundle, visit.service.farm_format.document(bundle)


def _opened_supply(
    visit: Visit, bundle: FarmBundle, document: Table
) -> tuple[SupplyDefinition, Opened]:
    wanted = visit.params["supply_id"]
    for supply, table in zip(
        bundle.supplies, farm_forms.tables_of(document, "supply"), strict=True
    ):
        if supply.supply_id == wanted:
            units = farm_forms.units_of(visit.words)
            shown = farm_forms.open_supply(supply, table, units)
            return supply, weekly_fields.opened_with_weekly(shown, supply)
    raise NotFound("there is no such supply in use")


def _opened_block(
    visit: Visit, bundle: FarmBundle, block_id: str
) -> tuple[BlockDefinition, Table, Opened]:
    """A block of the farm, the farm's document with it alone, and its form."""
    for block in bundle.blocks:
        if block.block_id == block_id:
            alone = replace(bundle, blocks=(block,), controllers=())
            document = visit.service.farm_format.document(alone)
            (table,) = farm_forms.tables_of(document, "block")
            units = farm_forms.units_of(visit.words)
            return block, document, farm_forms.open_block(block, table, units, visit.words)
    raise NotFound("there is no such block in use")


def _replace_farm(visit: Visit, bundle: FarmBundle, document: Table) -> None:
    with visit.service.unit_of_work(write=True) as unit:
        _replace_farm_in(unit, visit, bundle, document)


def _replace_farm_in(
    unit: UnitOfWork, visit: Visit, bundle: FarmBundle, document: Table
) -> change_farms.FarmChange:
    return change_farms.replace_farm(
        unit,
        bundle.farm.farm_id if bundle.farm is not None else "",
        document,
        keeper_of(visit),
        is_current=lambda now: (
            (now.farm, now.blocks, now.supplies, now.controllers)
            == (bundle.farm, bundle.blocks, bundle.supplies, bundle.controllers)
        ),
    )


def _counties(visit: Visit) -> tuple[CountySite, ...]:
    """Counties for a place to choose, as far as the visitor may look at them anyway."""
    if not (visit.may(Right.ADVISER) or visit.service.settings.public_counties):
        return ()
    return list_counties(unit_of_work=visit.service.unit_of_work)


def _site_id(farm_id: str) -> str:
    return f"{farm_id}-home"[:40].rstrip("-")


def _form_values(visit: Visit, opened: Opened | None, notes: FormNotes) -> dict[str, object]:
    """What every form of something stored is shown with."""
    defaults = visit.service.farm_format.defaults()
    units = farm_forms.units_of(visit.words)
    return {
        "defaults": defaults.block_numbers,
        "issue_time": clock_text(defaults.issue_wall_min),
        "new_windows": shown_windows(defaults.windows),
        "form": visit.form or (opened.form if opened is not None else {}),
        "faults": in_own_units(notes.faults, visit.form, units, visit.words),
        "newer": notes.newer,
        "is_stale": notes.status == 409 and not notes.faults,
        "version": "" if opened is None else opened.version,
        "origins": {} if opened is None else opened.origins,
        "units": units,
    }


def _farm_form(
    visit: Visit,
    notes: FormNotes,
    *,
    opened: Opened | None = None,
    bundle: FarmBundle | None = None,
) -> Response:
    placed = replace(notes, faults=site_fields.place_faults(notes.faults, visit.form))
    values = _form_values(visit, opened, placed)
    zones = [*ZONES]
    if bundle is not None and bundle.farm is not None and bundle.farm.zone not in zones:
        zones.append(bundle.farm.zone)
    return visit.show(
        "new_farm.html",
        status=notes.status,
        farm=None if bundle is None else bundle.farm,
        set_up=(
            new_set_up(visit.words)
            if bundle is None
            else set_up_of(visit, _farm(bundle), Step.FARM)
        ),
        has_place=opened is None or site_fields.PLACE in opened.form,
        counties=_counties(visit) if bundle is None else (),
        zones=[(zone, zone.replace("_", " ")) for zone in zones],
        **values,
    )


def _supply_form(
    visit: Visit,
    bundle: FarmBundle,
    notes: FormNotes,
    *,
    opened: Opened | None = None,
    supply: SupplyDefinition | None = None,
) -> Response:
    values = _form_values(visit, opened, notes)
    form = visit.form or (opened.form if opened is not None else {})
    return visit.show(
        "new_supply.html",
        status=notes.status,
        farm=bundle.farm,
        set_up=set_up_of(visit, _farm(bundle), Step.WATER),
        supply=supply,
        **control_fields.choices_of(visit.words, of_supply=True),
        window_rows=window_rows(form),
        weekly_rows=weekly_fields.weekly_rows(form),
        days_of_week=weekly_fields.weekdays_of(visit.words),
        **values,
    )


def _block_form(
    visit: Visit,
    bundle: FarmBundle,
    notes: FormNotes,
    *,
    preview: Preview | None = None,
    opened: Opened | None = None,
    source: BlockDefinition | None = None,
    block: BlockDefinition | None = None,
) -> Response:
    """``source``: the block that the form began with; ``block``: the stored one that it changes."""
    values = _form_values(visit, opened, notes)
    estimate = None
    if "season_start" in notes.faults:
        estimate = estimated_season(visit.form, bundle.sites[0].latitude_deg)
    if estimate is not None:
        values["form"] = {**visit.form, **estimate.form}
    textures = textures_by_key(visit.words)
    if opened is not None and not opened.form["texture"]:
        textures.insert(0, ("", visit.words.gettext("as measured")))
    return visit.show(
        "new_block.html",
        status=notes.status,
        farm=bundle.farm,
        set_up=set_up_of(visit, _farm(bundle), Step.BLOCK),
        bundle=bundle,
        block=block,
        source=source,
        copies=[(each.block_id, each.name) for each in bundle.blocks],
        crops=crops_by_group(visit.words),
        textures=textures,
        wetness=wetness_choices(visit.words),
        supplies=[(each.supply_id, each.name) for each in bundle.supplies],
        sites=[(each.site_id, each.name) for each in bundle.sites],
        window_rows=window_rows(visit.form or (opened.form if opened is not None else {})),
        season_estimate="" if estimate is None else estimate.origins["season_start"][1],
        has_plain_season=source is None or source.curve.basis == "days",
        shown_fields={
            *BLOCK_FIELDS,
            *(("supply",) if len(bundle.supplies) > 1 else ()),
            *(("site",) if len(bundle.sites) > 1 else ()),
        },
        preview=preview,
        attitudes=risk_fields.choices_of(visit.words),
        **control_fields.choices_of(visit.words),
        **values,
    )


def keeper_of(visit: Visit) -> Keeper:
    """What stores a farm for the visitor."""
    visitor = visit.visitor
    return Keeper(
        visit.service.farm_format,
        visit.service.replanning,
        None if visitor is None else visitor.farm_id,
    )
