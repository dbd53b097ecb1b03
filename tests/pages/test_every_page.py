"""All pages at once: none is forgotten, each keeps to HTML's rules and is sent without scripts."""

from __future__ import annotations

import re

import pytest

from tests.api.invented_farm import BLOCK_ID, PLAN_DAY
from tests.pages.addresses import addresses, unlisted
from tests.pages.conftest import Reader
from tests.pages.well_formed import faults_of

PAGES = addresses(
    farm="test-farm", block=BLOCK_ID, supply="well", bare="later-farm", day=PLAN_DAY.isoformat()
)
LARGEST_PAGE_BYTES = 60_000
"""As sent, compressed, with its drawings."""


def test_no_page_is_without_an_address_in_the_list() -> None:
    assert unlisted() == [], "add their addresses to tests/pages/addresses.py"


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_keeps_to_the_rules_and_needs_no_script(
    looker: Reader, name: str, language: str
) -> None:
    headers = {"Accept-Language": language, "Accept": "text/html", "Accept-Encoding": "gzip"}
    answer = looker.get(PAGES[name], headers=headers)
    assert answer.status_code == (404 if name == "not there" else 200)
    page = answer.text
    assert faults_of(page) == []
    # No script, and nothing that would wait for one: every form names a method and has a button.
    assert not re.search(r"<script|\son[a-z]+=|javascript:", page)
    for form in re.findall(r"<form\b.*?</form>", page, re.DOTALL):
        assert re.match(r'<form (?:[^>]* )?method="(?:post|get)"', form), form[:120]
        assert '<button type="submit"' in form, form[:120]
        assert ('method="post"' not in form) or 'name="token"' in form, form[:120]
    assert int(answer.headers["Content-Length"]) < LARGEST_PAGE_BYTES
