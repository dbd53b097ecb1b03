"""Where each page is, for the tests and the camera that look at all of them.

A page that has no address here is reported by ``test_every_page.py``: whoever adds a page adds it
to this list, and it is looked at by a browser, by the rules of screen readers, in both languages.
"""

from __future__ import annotations

from collections.abc import Mapping

from service.pages.mount import PAGES

ADDRESSES: Mapping[str, str] = {
    "tomorrow": "/farms/{farm}/tomorrow",
    "sheet": "/farms/{farm}/sheet",
    "what if": "/farms/{farm}/what-if",
    "what if a pump fails": "/farms/{farm}/what-if?pump_down=2",
    "block": "/blocks/{block}",
    "numbers of a block": "/blocks/{block}/numbers",
    "report a day": "/farms/{farm}/report",
    "what changed": "/farms/{farm}/what-changed?day={day}&before=0&after=9999&done=day",
    "comparison": "/blocks/{block}/comparison?rule=1.5+in%2Fweek",
    "pipes and water": "/blocks/{block}/pipes-and-water",
    "acid": "/blocks/{block}/acid",
    "parts": "/blocks/{block}/parts?price_filter=310&budget=9000",
    "season of fertilizer": "/blocks/{block}/fertiliser-split?n=40&k2o=30&mg=5"
    "&days=2026-04-01+2026-09-01&product_potassium-nitrate=yes&product_urea=yes",
    "leaf and soil tests": "/blocks/{block}/leaf-and-soil-tests",
    "weather": "/farms/{farm}/weather",
    "forecast quality": "/farms/{farm}/forecast-quality",
    "season": "/farms/{farm}/season",
    "timers": "/farms/{farm}/timers",
    "visit notes": "/farms/{farm}/visit-notes",
    "log book": "/farms/{farm}/log-book",
    "reported runs": "/farms/{farm}/runs",
    "water used": "/farms/{farm}/water-used?limit=2+ac-ft",
    "counties": "/counties",
    "setup": "/farms/{farm}/setup",
    "changes": "/farms/{farm}/changes",
    "other systems": "/farms/{farm}/other-systems",
    "people": "/farms/{farm}/people",
    "new farm": "/farms/new",
    "change a farm": "/farms/{farm}/edit",
    "new supply": "/farms/{farm}/supplies/new",
    "change a supply": "/farms/{farm}/supplies/{supply}/edit",
    "retire a supply": "/farms/{farm}/supplies/{supply}/retire",
    "new block": "/farms/{farm}/blocks/new",
    "change a block": "/blocks/{block}/edit",
    "copy a block": "/farms/{farm}/blocks/new?copy={block}",
    "retire a block": "/blocks/{block}/retire",
    "soil now": "/farms/{bare}/soil-now",
    "first weather": "/farms/{bare}/first-weather",
    "no plan": "/farms/{bare}/tomorrow",
    "crop without season": "/counties?crop=blueberry",
    "not there": "/farms/nowhere/tomorrow",
    "farms": "/farms?all=1",
    "sign in": "/sign-in",
}
FILES = frozenset({"/counties.csv", "/counties.xlsx"})
"""What a page gives to be kept, and shows no one; as is what has an ``{ending}``."""
OF_A_RUN = frozenset({"/blocks/{block_id}/runs/{start}"})
"""Pages of a run, which test_log_book.py reports first."""


def addresses(*, farm: str, block: str, supply: str, bare: str, day: str) -> dict[str, str]:
    """The address of every page by its name; ``bare`` is a farm without a plan."""
    return {
        name: address.format(farm=farm, block=block, supply=supply, bare=bare, day=day)
        for name, address in ADDRESSES.items()
    }


def unlisted() -> list[str]:
    """Paths of pages that no address leads to."""
    listed = [_parts(address) for address in ADDRESSES.values()]
    return [
        path
        for method, path, _ in PAGES
        if method == "GET"
        and path not in FILES | OF_A_RUN
        and not path.endswith(".{ending}")
        and not any(_fits(path, each) for each in listed)
    ]


def _parts(address: str) -> list[str]:
    return address.partition("?")[0].split("/")


def _fits(path: str, address: list[str]) -> bool:
    parts = path.split("/")
    return len(parts) == len(address) and all(
        part == there or (part.startswith("{") and there.startswith("{"))
        for part, there in zip(parts, address, strict=True)
    )
