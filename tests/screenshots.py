"""Keep screenshots of every page for a review by eye, and a sheet that shows them side by side.

    python -m tests.screenshots screenshots                       everything; minutes
    python -m tests.screenshots screenshots tomorrow block        pages whose name holds a word
    python -m tests.screenshots screenshots -w 390 -t dark -l es  one width, theme, language

Shown is the demonstration, which stands in its own evening, beside two invented farms that are
hard to show: one of forty blocks with long names, and one that has no plan yet. Each page is kept
at 390, 820 and 1366 px by day and by night and as it is printed (a picture 720 px wide, which is
what Letter leaves between its margins, and a PDF), in both languages; so are the mails. The file
``index.html`` shows all of them, page by page, and how many sheets of paper each one takes. Beside
them is each page as it was sent, for a validator. Git ignores the folder ``screenshots``.
"""

from __future__ import annotations

import argparse
import os
import re
import socket
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import timedelta
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from service.bootstrap import Service

Theme = Literal["light", "dark"]
WIDTHS = (390, 820, 1366)
THEMES: tuple[Theme, ...] = ("light", "dark")
LANGUAGES = ("en", "es")
PRINT_PX = 720
HEIGHT_PX = 844
MANY_BLOCKS = 40
MAIL_KINDS = ("evening", "weekly")
_A_SHEET_OF_PAPER = re.compile(rb"/Type\s*/Page\b")


@dataclass(frozen=True, slots=True)
class Choice:
    """What to photograph, and where to."""

    folder: Path
    words: tuple[str, ...]
    widths: tuple[int, ...]
    themes: tuple[Theme, ...]
    languages: tuple[str, ...]
    is_unfolded: bool
    is_printed: bool

    def wants(self, name: str) -> bool:
        """Whether a page is among those that were asked for."""
        return not self.words or any(word in name for word in self.words)


@dataclass(slots=True)
class Shot:
    """One page in one language: its pictures by what they show, and its sheets of paper."""

    name: str
    language: str
    pictures: dict[str, str]
    sheet_count: int = 0
    overflow: tuple[int, ...] = ()
    """Widths at which the page is wider than its screen."""


@contextmanager
def demonstration(folder: Path) -> Iterator[Service]:
    """The demonstration and the two hard farms, on the demonstration's evening."""
    # Settings and kernels read the environment when their modules load.
    os.environ["RILLWRIGHT_DATABASE_URL"] = f"sqlite:///{folder / 'demonstration.db'}"
    from typer.testing import CliRunner

    from service.bootstrap import open_service
    from service.cli import app
    from service.cli.demo_clock import in_its_own_time
    from service.demo_farm import DEMO_DAY
    from service.farm_files.farm_file import parse_farm
    from service.operations.evening.run_day import run_day
    from service.operations.farms.manage_farms import load_bundle
    from service.settings import Settings

    made = CliRunner().invoke(app, ["demo"])
    assert made.exit_code == 0, made.output
    service = in_its_own_time(open_service(Settings()))
    for text in (many_blocks(), BARE_FARM):
        load_bundle(
            parse_farm(text, name="invented.toml"),
            effective_day=DEMO_DAY - timedelta(days=3),
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    for evening in (DEMO_DAY - timedelta(days=2), DEMO_DAY):
        run_day(
            evening,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
            source_order=service.source_order,
            farm_ids=["many"],
        )
    yield replace(service, is_demonstration=True)
    service.close()


def many_blocks() -> str:
    """Forty blocks with long names, some dry, on two supplies that cannot serve all of them."""
    blocks = "".join(
        f"""
[[block]]
id = "b{number}"
name = "Lower terrace by the old packing shed, rows {number}-{number + 11}"
site = "demo-alderway"
supply = "{("canal", "pond")[number > 24]}"
crop = "{("grape-wine", "blueberry", "apple-cover-no-frost")[number % 3]}"
season = {{ start = "03-20", lengths = [25, 45, 110, 50] }}
area = "0.4 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = {{ texture = "loam" }}
initial_depletion = "{number} mm"
"""
        for number in range(1, MANY_BLOCKS + 1)
    )
    return f"""
[farm]
id = "many"
name = "Cooperative of the growers of the upper valley (invented)"
zone = "America/New_York"
[[site]]
id = "demo-alderway"
name = "Alderway station (invented)"
latitude = 34.90
longitude = -82.00
elevation = "820 ft"
[site.normals]
u2_m_s = [1.9, 2.0, 2.1, 2.0, 1.7, 1.5, 1.4, 1.3, 1.4, 1.5, 1.7, 1.8]
rhmin_pct = [50, 46, 43, 41, 48, 51, 54, 56, 55, 50, 47, 50]
et0_mm = [1.3, 1.9, 2.9, 4.1, 4.7, 5.2, 5.2, 4.7, 3.8, 2.7, 1.8, 1.3]
[[supply]]
id = "canal"
name = "Canal of the upper valley, second gate"
flow = "90 gpm"
[[supply]]
id = "pond"
name = "Pond behind the cold store"
flow = "60 gpm"
{blocks}"""


BARE_FARM = """
[farm]
id = "bare"
name = "Farm without a plan (invented)"
zone = "America/New_York"
[[site]]
id = "bare-home"
latitude = 35.95
longitude = -79.30
elevation = "640 ft"
[[supply]]
id = "pond"
flow = "20 gpm"
[[block]]
id = "young"
crop = "apple-cover-no-frost"
area = "1 ac"
row_spacing = "4 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = { texture = "loam" }
"""


def page_addresses() -> dict[str, str]:
    """Every page of the demonstration, and those of the hard farms that look different there."""
    from service.demo_farm import DEMO_DAY, FARM_ID, REFERENCE_BLOCK_ID, WATER_SUPPLY_ID
    from tests.pages.addresses import addresses

    found = addresses(
        farm=FARM_ID,
        block=REFERENCE_BLOCK_ID,
        supply=WATER_SUPPLY_ID,
        bare="bare",
        day=(DEMO_DAY + timedelta(days=1)).isoformat(),
    )
    many = (
        "tomorrow",
        "sheet",
        "report a day",
        "what if",
        "what if a pump fails",
        "what changed",
        "setup",
        "weather",
        "season",
    )
    found.update(
        {f"many {name}": found[name].replace(f"/{FARM_ID}/", "/many/") for name in many},
    )
    found["many block"] = "/blocks/many.b40"
    for block_id in ("young", "peaches", "apples"):
        found[f"block of {block_id}"] = f"/blocks/{FARM_ID}.{block_id}"
    found["bare block"] = "/blocks/bare.young"
    return found


def mails(service: Service, folder: Path, languages: Sequence[str]) -> dict[tuple[str, str], Path]:
    """Each kind of mail in each language, as a file that a browser opens."""
    from service.attributions import ATTRIBUTIONS
    from service.bootstrap import mail_identity
    from service.delivery.message import html_of
    from service.demo_farm import DEMO_DAY, FARM_ID
    from service.operations.mail.evening_mail import evening_letter
    from service.operations.mail.weekly_summary import weekly_letter
    from service.operations.reading.read_farms import list_farms
    from service.records.letters import Letter, MailStamp
    from service.records.mail import Person

    (farm,) = list_farms([FARM_ID], unit_of_work=service.unit_of_work)
    letters: dict[str, Letter] = {
        "evening": evening_letter(
            farm, None, unit_of_work=service.unit_of_work, attributions=ATTRIBUTIONS
        ),
        "weekly": weekly_letter(
            farm, DEMO_DAY, unit_of_work=service.unit_of_work, attributions=ATTRIBUTIONS
        ),
    }
    stamp = MailStamp(
        message_id="preview@localhost",
        written_at=service.clock.now(),
        link_token="preview",
        timer_token="preview",
    )
    found = {}
    for kind, letter in letters.items():
        for language in languages:
            reader = Person(
                mail_address="ana@localhost", name="Ana", language=language, unit_system="us"
            )
            path = folder / f"mail-{kind}-{language}.html"
            path.write_text(html_of(letter, reader, stamp, identity=mail_identity(service)))
            found[f"mail {kind}", language] = path
    return found


def photograph(page: Page, shot: Shot, choice: Choice) -> None:
    """All pictures of the opened page."""
    stem = f"{shot.name.replace(' ', '-')}-{shot.language}"
    if choice.is_unfolded:
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true })")
    for theme in choice.themes:
        page.emulate_media(media="screen", color_scheme=theme)
        for width in choice.widths:
            page.set_viewport_size({"width": width, "height": HEIGHT_PX})
            label = f"{width} {theme}"
            shot.pictures[label] = f"{stem}-{width}-{theme}.png"
            page.screenshot(path=choice.folder / shot.pictures[label], full_page=True)
            if page.evaluate("document.documentElement.scrollWidth") > width:
                shot.overflow = (*shot.overflow, width)
    if choice.is_printed:
        page.emulate_media(media="print", color_scheme="light")
        page.set_viewport_size({"width": PRINT_PX, "height": HEIGHT_PX})
        shot.pictures["print"] = f"{stem}-print.png"
        page.screenshot(path=choice.folder / shot.pictures["print"], full_page=True)
        paper = page.pdf(format="Letter", path=choice.folder / f"{stem}.pdf")
        shot.sheet_count = len(_A_SHEET_OF_PAPER.findall(paper))


def keep_screenshots(browser: Browser, address: str, service: Service, choice: Choice) -> None:
    """Photograph what was chosen, and write the sheet."""
    from tests.chromium import new_context

    context = new_context(browser, locale="en-US")
    page = context.new_page()
    shots = []
    for language in choice.languages:
        context.add_cookies([{"name": "rillwright-language", "value": language, "url": address}])
        for name, path in page_addresses().items():
            if choice.wants(name):
                answer = page.goto(address + path)
                assert answer is not None
                stem = f"{name.replace(' ', '-')}-{language}"
                (choice.folder / f"{stem}.html").write_text(answer.text())
                shots.append(Shot(name, language, {}))
                photograph(page, shots[-1], choice)
    for (name, language), file in mails(service, choice.folder, choice.languages).items():
        if choice.wants(name):
            page.goto(file.as_uri())
            shots.append(Shot(name, language, {}))
            photograph(page, shots[-1], choice)
    context.close()
    (choice.folder / "index.html").write_text(contact_sheet(shots))
    for shot in shots:
        if shot.overflow:
            print(f"{shot.name} ({shot.language}) is wider than {shot.overflow} px")
    print(f"{len(shots)} pages: {choice.folder / 'index.html'}")


def contact_sheet(shots: Sequence[Shot]) -> str:
    """A page that shows the pictures side by side, each a link to itself at full size."""
    rows = "".join(
        f"<h2>{escape(shot.name)}, {shot.language}"
        + (f" · {shot.sheet_count} sheets of paper" if shot.sheet_count else "")
        + (f" · WIDER THAN {shot.overflow} px" if shot.overflow else "")
        + "</h2><div>"
        + "".join(
            f'<figure><a href="{file}"><img src="{file}" loading="lazy" alt=""></a>'
            f"<figcaption>{label}</figcaption></figure>"
            for label, file in shot.pictures.items()
        )
        + "</div>"
        for shot in sorted(shots, key=lambda each: each.name)
    )
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Screenshots</title><style>'
        "body{font:14px sans-serif;margin:1rem}div{display:flex;gap:8px;align-items:flex-start;"
        "overflow-x:auto}figure{margin:0}img{height:420px;border:1px solid #999}</style>"
        f"<h1>{len(shots)} pages</h1>{rows}</html>"
    )


def main() -> None:
    """Read the arguments and photograph."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("words", nargs="*", help="parts of the names of pages")
    parser.add_argument("-w", "--width", type=int, action="append")
    parser.add_argument("-t", "--theme", choices=THEMES, action="append")
    parser.add_argument("-l", "--language", choices=LANGUAGES, action="append")
    parser.add_argument("--unfolded", action="store_true", help="open all that can be unfolded")
    parser.add_argument("--no-print", action="store_true")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    choice = Choice(
        folder=options.folder.resolve(),
        words=tuple(options.words),
        widths=tuple(options.width or WIDTHS),
        themes=tuple(options.theme or THEMES),
        languages=tuple(options.language or LANGUAGES),
        is_unfolded=options.unfolded,
        is_printed=not options.no_print,
    )
    with tempfile.TemporaryDirectory() as folder, demonstration(Path(folder)) as service:
        from service.api.app import create_app
        from tests.chromium import open_chromium
        from tests.web_server import serving

        with socket.socket() as listener, open_chromium() as browser:
            listener.bind(("127.0.0.1", 0))
            with serving(create_app(service), listener):
                address = f"http://127.0.0.1:{listener.getsockname()[1]}"
                keep_screenshots(browser, address, service, choice)


if __name__ == "__main__":
    main()
