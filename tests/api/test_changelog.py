"""The history of the API: it names every route, and what is deprecated says so itself."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from email.utils import parsedate_to_datetime
from typing import Any

import pytest
from pydantic import BaseModel

from service import __version__
from service.api.app import create_app
from service.api.history import HISTORY, ApiChange, ChangeKind, deprecation_fields
from service.api.schemas.changelog import CHANGELOG_EXAMPLE, ChangelogOut
from service.bootstrap import Service
from tests.api.callers import Caller, caller_of, new_key
from tests.api.header_fields import header_faults
from tests.api.invented_farm import BLOCK_ID, FARM_ID
from tests.api.openapi_snapshot import SNAPSHOT, answers_of

DOCUMENT: dict[str, Any] = json.loads(SNAPSHOT.read_text(encoding="utf-8"))
SINCE, SUNSET = date(2026, 12, 1), date(2027, 12, 1)
PLAN, CROPS, SITES = "GET /v1/blocks/{block_id}/plan", "GET /v1/crops", "GET /v1/sites"


def goes(*routes: str, fields: tuple[str, ...] = (), **days: date) -> ApiChange:
    """An invented deprecation."""
    return ApiChange(
        version="0.2.0",
        day=days.get("day", SINCE),
        kind=ChangeKind.DEPRECATED,
        routes=routes,
        words="Ask something else.",
        fields=fields,
        sunset=days.get("sunset", SUNSET),
    )


GOING = (*HISTORY, goes(PLAN, CROPS), goes(SITES, fields=("SiteOut.elevation_m",)))


@pytest.fixture
def going(own_service: Service) -> Caller:
    """A caller of an API of which some is deprecated."""
    return Caller(create_app(own_service, history=GOING), new_key(own_service, None)[1])


def test_every_route_is_named_when_it_came_and_none_that_is_not_there() -> None:
    named: set[str] = set()
    for change in HISTORY:
        routes = set(change.routes)
        if change.kind is ChangeKind.ADDED and not change.fields:
            assert not routes & named, change.words
            named |= routes
        else:
            assert routes <= named, change.words
        if change.kind is ChangeKind.REMOVED and not change.fields:
            named -= routes
    served = {
        f"{method.upper()} {path}"
        for path, operations in DOCUMENT["paths"].items()
        for method in operations
    }
    assert named == served


def test_changes_are_in_the_order_of_their_days_and_of_no_coming_version() -> None:
    assert [each.day for each in HISTORY] == sorted(each.day for each in HISTORY)
    assert HISTORY[-1].version <= __version__


def test_the_document_marks_what_is_declared_as_deprecated_and_nothing_else() -> None:
    marked = {
        f"{method.upper()} {path}"
        for path, operations in DOCUMENT["paths"].items()
        for method, operation in operations.items()
        if operation.get("deprecated")
    }
    declared = {
        route
        for each in HISTORY
        if each.kind is ChangeKind.DEPRECATED and not each.fields
        for route in each.routes
    }
    assert marked == declared


def test_answers_of_what_is_deprecated_say_since_when_and_until_when(going: Caller) -> None:
    for path in (f"/v1/blocks/{BLOCK_ID}/plan", "/v1/crops", "/v1/sites"):
        answer = going.get(path)
        # RFC 9745, section 2: a structured-field date, seconds since 1970 after an @.
        since = datetime.fromtimestamp(int(answer.headers["Deprecation"].removeprefix("@")), UTC)
        assert since == datetime(2026, 12, 1, tzinfo=UTC)
        # RFC 8594, section 3: an HTTP date.
        assert answer.headers["Sunset"] == "Wed, 01 Dec 2027 00:00:00 GMT"
        assert parsedate_to_datetime(answer.headers["Sunset"]).date() == SUNSET
        assert answer.headers["Link"] == '</v1/changelog>; rel="deprecation"'
        again = going.get(path, headers={"If-None-Match": answer.headers["ETag"]})
        assert again.status_code == 304 and again.headers["Sunset"] == answer.headers["Sunset"]
        assert "Deprecation" in going.request("HEAD", path).headers
    for path in ("/v1/farms", "/v1/blocks", f"/v1/blocks/{BLOCK_ID}"):
        assert "Deprecation" not in going.get(path).headers


def test_nothing_says_so_while_nothing_is_deprecated(own_service: Service) -> None:
    answer = caller_of(own_service, None).get("/v1/crops")
    assert not {"Deprecation", "Sunset"} & set(answer.headers)


def test_the_document_marks_routes_and_fields_and_describes_the_headers(going: Caller) -> None:
    document = going.app.openapi()
    assert document["paths"]["/v1/crops"]["get"]["deprecated"] is True
    sites = document["paths"]["/v1/sites"]["get"]
    assert "deprecated" not in sites
    properties = document["components"]["schemas"]["SiteOut"]["properties"]
    assert [name for name, each in properties.items() if each.get("deprecated")] == ["elevation_m"]
    for status, query in ((200, ""), (422, "?page_size=x")):
        answer = going.get(f"/v1/sites{query}")
        described = answers_of(document, sites)[str(status)]
        assert answer.status_code == status
        assert header_faults(described, document["components"]["headers"], answer.headers) == []


def test_the_history_is_read_with_any_key_the_newest_first(own_service: Service) -> None:
    for scope in ("plan:read", "adviser", "water:write"):
        caller = caller_of(own_service, FARM_ID, scope)
        items = caller.get("/v1/changelog").json()["items"]
        assert len(items) == len(HISTORY)
        assert items[-1]["words"] == HISTORY[0].words
    assert Caller(caller.app).get("/v1/changelog").status_code == 401
    tag = caller.get("/v1/changelog").headers["ETag"]
    assert caller.get("/v1/changelog", headers={"If-None-Match": tag}).status_code == 304


def test_a_deprecation_says_what_why_and_until_when(going: Caller) -> None:
    field, route = going.get("/v1/changelog").json()["items"][:2]
    assert (field["fields"], field["kind"]) == (["SiteOut.elevation_m"], "deprecated")
    assert (route["routes"], route["sunset"]) == ([PLAN, CROPS], str(SUNSET))


def test_of_several_notices_the_earliest_days_count() -> None:
    fields = dict(
        deprecation_fields(
            [
                goes(SITES, day=date(2027, 1, 1), sunset=date(2028, 1, 1)),
                goes(SITES, fields=("SiteOut.name",), sunset=date(2029, 1, 1)),
            ]
        )[SITES]
    )
    assert fields["Deprecation"] == f"@{int(datetime(2026, 12, 1, tzinfo=UTC).timestamp())}"
    assert fields["Sunset"].startswith("Sat, 01 Jan 2028")


def test_a_deprecation_without_a_years_notice_is_refused() -> None:
    with pytest.raises(ValueError, match="a year later"):
        goes(CROPS, sunset=date(2027, 11, 30))
    with pytest.raises(ValueError, match="sunset is for"):
        ApiChange("0.2.0", SINCE, ChangeKind.DEPRECATED, (CROPS,), "Ask something else.")


def test_an_example_says_all_that_its_answer_says() -> None:
    model: type[BaseModel] = ChangelogOut
    assert json.loads(model.model_validate(CHANGELOG_EXAMPLE).model_dump_json()) == (
        CHANGELOG_EXAMPLE
    )
