"""The application keeps to its own OpenAPI document, whatever the request (schemathesis).

For the test the document names the blocks, farms and sites of the invented farm as the only ones,
because made-up identifiers would only give 404; those are tried too, as values that the document
forbids. Each request has a key, and its own idempotency key, unless a case leaves out that header.
RILLWRIGHT_TEST_CONTRACT_EXAMPLES asks for more cases of each operation, as ``tests/fuzz.sh`` does.

SQLite gets every case. PostgreSQL gets those that the document allows: the others are refused
before a database is asked. The cases of an operation are made when its test runs, not when it is
collected, since every worker collects.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from functools import cache
from http import HTTPStatus
from typing import Any, cast
from uuid import uuid4

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import load_all_checks
from schemathesis.config import (
    ChecksConfig,
    CoveragePhaseConfig,
    GenerationConfig,
    OperationConfig,
    OperationsConfig,
    PhasesConfig,
    PositiveDataAcceptanceConfig,
    ProjectConfig,
    ProjectsConfig,
    SchemathesisConfig,
)
from schemathesis.filters import FilterSet
from schemathesis.generation import GenerationMode
from schemathesis.generation.feedback import FeedbackSources
from schemathesis.pytest._test_builder import build_operation_test
from schemathesis.python._constants.orchestrator import make_constants_value_source
from schemathesis.python.asgi import get_client
from schemathesis.schemas import BaseSchema
from schemathesis.specs.openapi.checks import (
    ignored_auth,
    missing_required_header,
    negative_data_rejection,
    positive_data_acceptance,
)
from sqlalchemy.engine import URL
from starlette.types import Receive, Scope, Send

from service.api.app import create_app
from service.bootstrap import Service
from tests.api.callers import new_key
from tests.api.header_fields import header_faults
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    YOUNG_BLOCK_ID,
    copied_service,
)
from tests.api.openapi_snapshot import SNAPSHOT, answers_of
from tests.patience import PATIENCE_S

EXAMPLES = int(os.environ.get("RILLWRIGHT_TEST_CONTRACT_EXAMPLES", "10"))
# A day without a plan, a farm that does not exist; a thing that has changed meanwhile.
ACCEPTED: list[str | int] = ["2xx", 304, 404, 409, 410, 412]
# What the document cannot say: a cursor must come from a page before, a span must rise, a time must
# have passed, the free tables of a farm must describe one, a summer must be on record.
REFUSALS = (400, 422)
KNOWN: dict[str, list[str]] = {
    "block_id": [BLOCK_ID, BARE_BLOCK_ID, YOUNG_BLOCK_ID],
    "farm_id": [FARM_ID, "later-farm"],
    "site_id": ["home", "hill"],
}
REFUSES_SOME_VALID_REQUESTS = {
    "GET /v1/blocks/{block_id}/comparison",
    "GET /v1/blocks/{block_id}/nutrient-plan",
    "GET /v1/blocks",
    "GET /v1/blocks/{block_id}/balance",
    "GET /v1/blocks/{block_id}/risk-trial",
    "GET /v1/changes",
    "GET /v1/controllers",
    "GET /v1/counties",
    "GET /v1/crops",
    "GET /v1/plans",
    "GET /v1/runs",
    "GET /v1/farms",
    "GET /v1/farms/{farm_id}/changes",
    "GET /v1/farms/{farm_id}/log-book",
    "GET /v1/farms/{farm_id}/runs",
    "GET /v1/sites",
    "GET /v1/soils",
    "GET /v1/sites/{site_id}/weather-days",
    "GET /v1/blocks/{block_id}/fertigations",
    "GET /v1/blocks/{block_id}/fertiliser-split",
    "GET /v1/blocks/{block_id}/flow-check",
    "GET /v1/counties/water-need",
    "GET /v1/farms/{farm_id}/event-subscriptions/{subscription_id}/deliveries",
    "GET /v1/farms/{farm_id}/visit-notes",
    "GET /v1/farms/{farm_id}/water-used",
    "GET /v1/farms/{farm_id}/what-if",
    "GET /v1/sites/{site_id}/forecast-quality",
    "POST /v1/farms/{farm_id}/event-subscriptions/{subscription_id}/resends",
    "PUT /v1/farms/{farm_id}/event-subscriptions/{subscription_id}",
    "GET /v1/supplies/{supply_id}/capacity",
}
# What cannot be used of these is refused line by line, in an answer that is a success.
ANSWERED_LINE_BY_LINE = {"POST /v1/observations"}
# Nearly all made-up requests of these carry an outdated tag and are refused for it before their
# body is read. Each made-up body is tried on the POST that takes the same one.
REPLACEMENTS = ["PUT /v1/blocks/{block_id}", "PUT /v1/farms/{farm_id}"]

Check = Callable[
    [schemathesis.CheckContext, schemathesis.Response, schemathesis.Case[Any]], bool | None
]


class _Later:
    """The application on the database that the tests have at the moment."""

    app: Any = None
    request_count = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and count it."""
        self.request_count += 1
        await self.app(scope, receive, send)


@cache
def _agreed_document() -> dict[str, Any]:
    """The document that test_openapi.py holds the application to, of the invented farm alone."""
    document: dict[str, Any] = json.loads(SNAPSHOT.read_text(encoding="utf-8"))
    # Fifty notes of one kind, each of which would be tried in every way.
    notes = document["components"]["schemas"]["OriginsTable"]
    named = notes.pop("properties")
    note = next(iter(named.values()))
    notes |= {"propertyNames": {"enum": list(named)}, "additionalProperties": note}
    # Each way to write a block is tried where it is sent alone, and not once more within a farm.
    alone = document["paths"]["/v1/farms/{farm_id}/blocks"]["post"]["requestBody"]["content"]
    blocks = document["components"]["schemas"]["FarmDocumentIn"]["properties"]["block"]
    blocks["items"] = {"enum": [alone["application/json"]["example"]]}
    for path in document["paths"].values():
        for operation in path.values():
            for parameter in operation.get("parameters", ()):
                if parameter["name"] in KNOWN:
                    parameter["schema"] = {"enum": KNOWN[parameter["name"]]}
                    parameter.pop("example", None)
                    parameter.pop("examples", None)
    return document


OPERATIONS = [
    f"{method.upper()} {path}"
    for path, operations in _agreed_document()["paths"].items()
    for method in operations
]


@cache
def _schema(database_kind: str) -> BaseSchema:
    modes = [GenerationMode.POSITIVE]
    if database_kind == "sqlite":
        modes.append(GenerationMode.NEGATIVE)
    replacements = OperationConfig(
        filter_set=FilterSet().with_include(name=REPLACEMENTS),
        phases=PhasesConfig(coverage=CoveragePhaseConfig(enabled=False)),
    )
    project = ProjectConfig(
        # Parameters that are not known are refused, which test_problems.py looks at.
        generation=GenerationConfig(modes=modes, allow_extra_parameters=False),
        checks=ChecksConfig(
            positive_data_acceptance=PositiveDataAcceptanceConfig(expected_statuses=ACCEPTED)
        ),
        operations=OperationsConfig(operations=[replacements]),
        request_timeout=PATIENCE_S,
    )
    schema = schemathesis.openapi.from_dict(
        _agreed_document(),
        config=SchemathesisConfig(projects=ProjectsConfig(default=project)),
    )
    schema.app = later
    return schema


later = _Later()
requester = get_client(cast(Any, later))
"""Kept, since making one for each request takes as long as many an answer."""
requester.trust_env = False  # no proxy and no password of this machine is meant

known_to_ask_for_keys: set[str] = set()
"""Operations that refused a request, otherwise accepted, without its key and with a wrong one. What
key is needed does not depend on the rest of the request, so each is tried once."""


@pytest.fixture(scope="module")
def keyed(planned_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A key of the region to an application on a database of its own, of each kind in turn."""
    later.request_count = 0
    known_to_ask_for_keys.clear()
    with copied_service(planned_database, tmp_path_factory.mktemp("contract")) as service:
        yield _key_to(service)
    kind = planned_database.get_backend_name()
    print(f"\n{later.request_count} requests were answered on {kind}")


def _key_to(service: Service) -> str:
    later.app = create_app(
        Service(
            settings=service.settings.model_copy(
                update={
                    "requests_per_key": "1000000/second",
                    "requests_per_address": "1000000/second",
                    "refused_keys_per_address": "1000000/second",
                }
            ),
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    )
    return new_key(service, None)[1]


@pytest.mark.parametrize("label", OPERATIONS)
def test_answers_keep_to_the_document(label: str, database_kind: str, keyed: str) -> None:
    @settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck), deadline=None)
    def keeps_to_the_document(case: schemathesis.Case[Any]) -> None:
        _ask(case, keyed)

    load_all_checks()
    schema, (method, path) = _schema(database_kind), label.split(" ")
    ask_in_turn = build_operation_test(
        config=schema.config,
        operation=schema[path][method],
        test_func=keeps_to_the_document,
        given_kwargs={},
        feedback=FeedbackSources(constants_value_source=make_constants_value_source(schema)),
    )
    ask_in_turn()


def _ask(case: schemathesis.Case[Any], key: str) -> None:
    if "Idempotency-Key" in case.headers:
        case.headers["Idempotency-Key"] = f'"{uuid4()}"'
    answer = case.call(headers={"Authorization": f"Bearer {key}"}, session=requester)
    may_refuse = answer.status_code in REFUSALS and (
        case.method != "GET" or case.operation.label in REFUSES_SOME_VALID_REQUESTS
    )
    excluded: list[Check] = []
    if case.operation.label in known_to_ask_for_keys:
        excluded.append(ignored_auth)
    if may_refuse:
        excluded.append(positive_data_acceptance)
    if case.operation.label in ANSWERED_LINE_BY_LINE:
        excluded.append(negative_data_rejection)
    if any(
        str(value) not in KNOWN.get(name, [str(value)])
        for name, value in case.path_parameters.items()
    ):
        # An earlier made-up request may have made a farm of that name: in an address 0 is one too.
        excluded.append(negative_data_rejection)
    if answer.status_code == HTTPStatus.PRECONDITION_FAILED:
        # A tag that the document forbids is no more than one that does not match.
        excluded.append(negative_data_rejection)
    if answer.status_code == HTTPStatus.PRECONDITION_REQUIRED:
        excluded.append(missing_required_header)  # it does not know this status
    case.validate_response(answer, excluded_checks=excluded)
    if answer.status_code < HTTPStatus.MULTIPLE_CHOICES:
        known_to_ask_for_keys.add(case.operation.label)
    document = _agreed_document()
    operation = document["paths"][case.operation.path].get(case.method.lower())
    if operation is not None:  # other methods are tried, too
        described = answers_of(document, operation)[str(answer.status_code)]
        sent = {name: ", ".join(values) for name, values in answer.headers.items()}
        assert header_faults(described, document["components"]["headers"], sent) == []
