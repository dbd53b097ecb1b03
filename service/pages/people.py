"""Who gets mail about a farm."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.responses import Response

from service.errors import Fault, InputInvalid
from service.operations.access.manage_keys import Right
from service.operations.access.people import (
    checked_address,
    list_people,
    remove_person,
    save_person,
)
from service.pages.plans import farm_of
from service.pages.visit import UNIT_SYSTEMS, Visit, faults_by_field, redirect
from service.records.mail import LANGUAGES, MAIL_LISTS, Person
from service.translations.catalogue import marked


def show_people(visit: Visit, faults: Mapping[str, Fault] | None = None) -> Response:
    """Who gets mail about the farm, and a form for one more."""
    farm = farm_of(visit, Right.FARM_WRITE)
    return visit.show(
        "people.html",
        status=422 if faults else 200,
        farm=farm,
        people=list_people(farm_id=farm.farm_id, unit_of_work=visit.service.unit_of_work),
        form=visit.form,
        faults=faults or {},
        sends_mail=bool(visit.service.settings.mail_host),
        done=visit.query.get("done", ""),
    )


def add_person(visit: Visit) -> Response:
    """Somebody who gets mail about the farm from now on; the same address again changes them."""
    farm = farm_of(visit, Right.FARM_WRITE)
    form = visit.form
    language, units = form.get("language", ""), form.get("unit_system", "")
    try:
        name = form.get("name", "")[:80]
        if not name:
            raise InputInvalid(
                "a name is missing", [Fault("name", "", marked("a name of 1 to 80 characters"))]
            )
        person = Person(
            mail_address=checked_address(form.get("mail", ""), where="mail"),
            name=name,
            language=language if language in LANGUAGES else LANGUAGES[0],
            unit_system=units if units in UNIT_SYSTEMS else farm.unit_system,
            receives=tuple(each for each in MAIL_LISTS if form.get(f"gets_{each}")),
        )
    except InputInvalid as error:
        faults = faults_by_field(error, {"mail": "mail", "name": "name"})
        return show_people(visit, faults)
    save_person(person, farm_ids=[farm.farm_id], unit_of_work=visit.service.unit_of_work)
    return redirect(f"/farms/{farm.farm_id}/people", done="stored")


def drop_person(visit: Visit) -> Response:
    """Somebody gets no more mail about the farm and is forgotten here."""
    farm = farm_of(visit, Right.FARM_WRITE)
    remove_person(
        visit.form.get("mail", ""),
        farm_id=farm.farm_id,
        unit_of_work=visit.service.unit_of_work,
    )
    return redirect(f"/farms/{farm.farm_id}/people", done="removed")
