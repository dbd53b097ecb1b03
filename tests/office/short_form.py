"""The short form: the office starts, makes an evening, serves it through TLS, and stops."""

from __future__ import annotations

import http.client
import ssl
import urllib.error
import urllib.request
from dataclasses import dataclass

from tests.office.desk import Desk, log_lines
from tests.office.parts import Part, wait_until
from tests.office.plan_of_office import DEPLOY, Office
from tests.office.polling import Door, is_whole
from tests.office.report import Report

FARM_COUNT, BLOCK_COUNT = 2, 3
FIRST = "first"
"""Prefix of the names of the farms that are there from the start."""


@dataclass(frozen=True, slots=True)
class Keys:
    """Who may ask what."""

    office: str
    controllers: list[tuple[str, str]]


def start(office: Office, desk: Desk, report: Report, *, controller_count: int) -> Keys:
    """Start every part, in the order of the handbook, with a region whose evening is due."""
    office.database.start()
    office.relay.start()
    office.database.wait_ready()
    report.check("migrate", desk.command("migrate").strip(), holds=True)
    # The first key is made before anything is served: without it the API serves this machine only.
    office.key_file.write_text(desk.add_key("metrics", "--region", "--scope", "plan:read"))
    farms = desk.load_farms(FIRST, FARM_COUNT, block_count=BLOCK_COUNT, mailed_count=FARM_COUNT)
    desk.import_weather()
    controllers = []
    for number in range(controller_count):
        name = farms[number % FARM_COUNT]
        key = desk.add_key(f"device {number}", "--farm", name, "--scope", "plan:read")
        controllers.append((f"{name}.shed", key))
    for part in (office.schedulers[0], *office.webs, office.proxy, office.prometheus):
        part.start()
    for part in (*office.webs, office.proxy, office.prometheus):
        part.wait_ready()
    report.check("database, relay, web processes, proxy and Prometheus", "ready", holds=True)
    return Keys(desk.add_key("office", "--region", "--scope", "plan:read"), controllers)


def see_evening(office: Office, desk: Desk, report: Report) -> None:
    """The evening that is due is made once, and its mails come once.

    The second scheduler starts after it, and looks for mails at once rather than at its next tick.
    """
    wait_until("the evening is made", lambda: desk.evenings(FIRST)["done"] == FARM_COUNT)
    plans = desk.plans(FIRST)
    report.check("the evening", plans, holds=plans.is_one_each)
    office.schedulers[1].start()
    office.schedulers[1].wait_ready()
    wait_until("the mails have come", lambda: len(desk.mail_counts(FIRST)) == FARM_COUNT)
    came = desk.mail_counts(FIRST)
    report.check(
        "mails at the relay",
        f"{came.total()} for {len(came)} growers, {str(desk.mails()[0]['Subject']).strip()!r}",
        holds=set(came.values()) == {1},
    )


def see_doors(office: Office, keys: Keys, report: Report) -> None:
    """What people and controllers get through the proxy, with its certificate checked."""
    (name, key), *_ = keys.controllers
    path = f"/v1/controllers/{name}/program"
    with Door(office.site, office.authority) as door:
        ready = door.get("/readyz")
        report.check("/readyz through TLS", ready.status, holds=ready.status == 200)
        first = door.get(path, Authorization=f"Bearer {key}")
        tag = first.headers.get("etag", "none")
        report.check(
            "a controller's program, checksum right",
            f"{first.status}, {len(first.body)} bytes, tag {tag}",
            holds=first.status == 200 and is_whole(first.body) and b'"run"' in first.body,
        )
        again = door.get(path, Authorization=f"Bearer {key}", If_None_Match=tag)
        report.check(
            "the same with its tag",
            f"{again.status}, {len(again.body)} bytes",
            holds=again.status == 304 and not again.body,
        )
        plan = door.get("/v1/plans", Authorization=f"Bearer {keys.office}")
        report.check("the region's plans", plan.status, holds=plan.status == 200)
        nobody = door.get("/v1/plans")
        report.check("the same without a key", nobody.status, holds=nobody.status == 401)
        page = door.get("/")
        report.check("the front page", page.status, holds=page.status in {200, 303})
        # With its key the answer is still no: metrics are for the inside.
        metrics = door.get("/metrics", Authorization=f"Bearer {office.key_file.read_text()}")
        report.check("/metrics from outside", metrics.status, holds=metrics.status == 404)
    where = _led_to(f"{office.plain_site}/tomorrow")
    report.check("http leads to https", where, holds=where.startswith("https://localhost"))
    trusted = ssl.create_default_context()
    try:
        urllib.request.urlopen(f"{office.site}/readyz", context=trusted, timeout=10.0).close()
        seen = "taken by a caller that was not given its authority"
    except urllib.error.URLError as refusal:
        seen = str(refusal.reason)
    report.check("its certificate elsewhere", seen, holds="CERTIFICATE_VERIFY_FAILED" in seen)


def _led_to(address: str) -> str:
    """Where an address without TLS sends a caller; the redirect is not followed."""
    host, _, path = address.removeprefix("http://").partition("/")
    line = http.client.HTTPConnection(host, timeout=10.0)
    line.request("GET", f"/{path}")
    answer = line.getresponse()
    line.close()
    return answer.headers.get("Location", f"nowhere, {answer.status}")


def see_monitoring(office: Office, desk: Desk, report: Report) -> None:
    """Prometheus reaches both web processes, has all rules, and shows its page."""
    wait_until("Prometheus has scraped both", lambda: desk.targets_up() == len(office.targets))
    report.check("targets up in Prometheus", desk.targets_up(), holds=True)
    written = (DEPLOY / "prometheus" / "alerts.yml").read_text().count("- alert:")
    wait_until("the rules are evaluated", lambda: desk.rule_count() == written)
    report.check("alert rules evaluated", desk.rule_count(), holds=True)
    firing = desk.alerts("firing")
    report.check("alerts that fire", firing or "none", holds=not firing)
    status, page = desk.console()
    shown = sum(target in page for target in office.targets)
    report.check(
        "its page of the service",
        f"{status}, {len(page)} characters, {shown} web processes, {page.count('<tr>')} rows",
        holds=status == 200 and shown == len(office.targets) and page.endswith("</html>\n"),
    )


def stop(parts: list[Part], report: Report) -> None:
    """Ask every part to stop, the last started first."""
    for part in reversed(parts):
        cpu_s = part.cpu_s
        code, spent_s = part.stop()
        report.check(
            f"{part.name} stops when asked",
            f"exit code {code} after {spent_s:.1f} s; it used {cpu_s:.1f} s of processor time",
            holds=code in part.clean_codes,
        )


def see_logs(office: Office, report: Report) -> None:
    """Nothing went wrong that only a log knows."""
    bad = log_lines(office.folder / "logs", "Traceback", '"level": "error"', '"level":"error"')
    report.check("errors in the logs", bad[0][:300] if bad else "none", holds=not bad)
