"""The application keeps to its own OpenAPI document, whatever is asked of it (schemathesis).

For the test the document names the blocks of the invented farm as the only ones, because made-up
identifiers would meet nothing but 404; those come too, as the values that the document forbids.
"""

from __future__ import annotations

import copy
from typing import Any

import pytest
import schemathesis
from hypothesis import settings
from schemathesis.config import (
    ChecksConfig,
    GenerationConfig,
    PositiveDataAcceptanceConfig,
    ProjectConfig,
    ProjectsConfig,
    SchemathesisConfig,
)
from schemathesis.specs.openapi.checks import positive_data_acceptance

from service.bootstrap import Service
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, YOUNG_BLOCK_ID
from tests.api.openapi_snapshot import app_without_database

# A day without a plan, a farm that does not exist.
ACCEPTED: list[str | int] = ["2xx", 304, 404]
# What the document cannot say: a cursor must come from a page before, a span must rise.
REFUSES_SOME_VALID_REQUESTS = {"GET /v1/blocks", "GET /v1/blocks/{block_id}/balance"}
# The document is needed when tests are collected, the database when they run.
app = app_without_database()


def _document_of_the_invented_farm() -> dict[str, Any]:
    document = copy.deepcopy(app.openapi())
    for path in document["paths"].values():
        for parameter in path["get"]["parameters"]:
            if parameter["name"] == "block_id":
                parameter["schema"] = {"enum": [BLOCK_ID, BARE_BLOCK_ID, YOUNG_BLOCK_ID]}
                parameter.pop("example", None)
                parameter.pop("examples", None)
    return document


schema = schemathesis.openapi.from_dict(
    _document_of_the_invented_farm(),
    config=SchemathesisConfig(
        projects=ProjectsConfig(
            default=ProjectConfig(
                # Parameters that are not known are refused, which test_problems.py looks at.
                generation=GenerationConfig(allow_extra_parameters=False),
                checks=ChecksConfig(
                    positive_data_acceptance=PositiveDataAcceptanceConfig(
                        expected_statuses=ACCEPTED
                    )
                ),
            )
        )
    ),
)
schema.app = app


@pytest.fixture(scope="module", autouse=True)
def _database(service: Service) -> None:
    app.state.service = service


@schema.parametrize()
@settings(max_examples=40)
def test_answers_keep_to_the_document(case: schemathesis.Case[Any]) -> None:
    answer = case.call()
    may_refuse = answer.status_code == 422 and case.operation.label in REFUSES_SOME_VALID_REQUESTS
    case.validate_response(answer, excluded_checks=[positive_data_acceptance] if may_refuse else [])
