"""Pages of lists."""

from __future__ import annotations

import pytest

from service.api.paging import cut
from service.api.schemas.queries import PageQuery
from service.errors import InputInvalid


@pytest.mark.parametrize("items", [[], ["a"]])
def test_a_cursor_of_nobodys_making_is_refused_also_by_an_empty_list(items: list[str]) -> None:
    with pytest.raises(InputInvalid, match="cursor"):
        cut(items, PageQuery(page_size=10, cursor="-266"), str)
