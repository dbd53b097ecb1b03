"""The long form: each part is killed in turn, the web processes are upgraded under load, PostgreSQL
restarts in the middle of an evening.

What must hold: with two web processes no poll fails but while the one proxy or the one database is
away; every farm has one plan for tomorrow and never had another; each mail comes once.
"""

from __future__ import annotations

import shutil
import signal
from collections.abc import Callable

from tests.office import short_form
from tests.office.desk import Desk
from tests.office.parts import Part, wait_until
from tests.office.plan_of_office import Office
from tests.office.polling import Door, Tally, polling
from tests.office.report import Report
from tests.office.short_form import Keys

CONTROLLERS = 8
FARMS, BLOCKS = 60, 5
"""Of each evening that is interrupted: large enough to be caught in the middle."""
TAKEN_OVER_WITHIN_S = 90.0
"""A lease of 30 s, a tick of 20 s and the evening itself."""
LONG_PATIENCE_S = 900.0
CALM_POLLS = 80


def run(office: Office, desk: Desk, report: Report) -> None:
    """Everything of the short form, and all that may go wrong."""
    keys = short_form.start(office, desk, report, controller_count=CONTROLLERS)
    short_form.see_evening(office, desk, report)
    short_form.see_doors(office, keys, report)
    short_form.see_monitoring(office, desk, report)

    upgrade_web_processes(office, keys, report)
    for web in office.webs:
        kill_web_process(office, desk, web, keys, report)
    kill_scheduler_in_an_evening(office, desk, report)
    kill_relay(office, desk, report)
    kill_prometheus(office, desk, report)
    kill_proxy(office, keys, report)
    back_up(office, desk, report)
    for number, (how, ends_with) in enumerate(
        (("is restarted", signal.SIGINT), ("is killed", signal.SIGKILL)), start=1
    ):
        lose_database_in_an_evening(
            office, desk, keys, report, prefix=f"away{number}", how=how, ends_with=ends_with
        )

    see_all_plans(desk, report)
    firing = desk.alerts("firing")
    report.check("alerts that fire after all this", firing or "none", holds=not firing)
    short_form.stop(office.parts, report)


# --- web processes -------------------------------------------------------------------------------


def upgrade_web_processes(office: Office, keys: Keys, report: Report) -> None:
    """One after the other, as the handbook says, while controllers poll."""

    def restart() -> None:
        for web in office.webs:
            web.stop()
            web.start()
            web.wait_ready()

    tally = _polls_while(office, keys, restart)
    report.check("both web processes restarted in turn", tally, holds=tally.bad_count == 0)


def kill_web_process(office: Office, desk: Desk, web: Part, keys: Keys, report: Report) -> None:
    """kill -9 of one of two is noticed by Prometheus and by no controller."""

    def kill() -> None:
        web.kill()
        wait_until("Prometheus misses it", lambda: desk.targets_up() == 1)
        web.start()
        web.wait_ready()
        wait_until("Prometheus reaches it again", lambda: desk.targets_up() == 2)

    tally = _polls_while(office, keys, kill)
    report.check(f"kill -9 of {web.name}", tally, holds=tally.bad_count == 0)


def _polls_while(office: Office, keys: Keys, happens: Callable[[], None]) -> Tally:
    """What controllers saw from before something happened until some time after it."""
    with polling(office.site, office.authority, keys.controllers) as tally:
        wait_until("controllers poll", lambda: tally.poll_count >= CALM_POLLS)
        happens()
        until = tally.poll_count + CALM_POLLS
        wait_until("controllers go on polling", lambda: tally.poll_count >= until)
    return tally


# --- schedulers, mail, Prometheus, proxy ---------------------------------------------------------


def _load_large_evening(office: Office, desk: Desk, report: Report, prefix: str) -> None:
    """Farms whose evening is due at once: nobody looks while they are loaded."""
    for scheduler in office.schedulers:
        scheduler.stop()
    desk.load_farms(prefix, FARMS, block_count=BLOCKS)
    report.note(f"{FARMS} farms of {BLOCKS} blocks loaded")
    for scheduler in office.schedulers:
        scheduler.start()


def kill_scheduler_in_an_evening(office: Office, desk: Desk, report: Report) -> None:
    """The other one takes the evening over, and no farm gets two plans."""
    _load_large_evening(office, desk, report, "killed")
    wait_until("the evening is claimed", lambda: desk.owner_pid("killed") != 0)
    (victim,) = [each for each in office.schedulers if each.pid == desk.owner_pid("killed")]
    done_before = desk.evenings("killed")["done"]
    victim.kill()
    took_s = wait_until(
        "the other scheduler has done it", lambda: desk.evenings("killed")["done"] == FARMS
    )
    plans = desk.plans("killed")
    report.check(
        f"kill -9 of {victim.name} in an evening ({done_before} farms done), taken over",
        f"after {took_s:.0f} s; {plans}",
        holds=plans.is_one_each and took_s < TAKEN_OVER_WITHIN_S,
    )
    victim.start()


def kill_relay(office: Office, desk: Desk, report: Report) -> None:
    """Mails wait while the relay is away, and then come once."""
    office.relay.kill()
    desk.load_farms("letter", 3, block_count=1, mailed_count=3)
    wait_until("the evening is made", lambda: desk.evenings("letter")["done"] == 3)
    tried = "SELECT count(*) FROM mail WHERE farm_id LIKE 'letter-%' AND attempt_count > 0"
    wait_until("the relay is tried in vain", lambda: desk.rows(tried)[0][0] > 0)
    office.relay.start()
    took_s = wait_until(
        "the mails have come",
        lambda: len(desk.mail_counts("letter")) == 3,
        patience_s=LONG_PATIENCE_S,
    )
    came = desk.mail_counts("letter")
    report.check(
        "kill -9 of relay, mails that had to wait",
        f"{came.total()} for {len(came)} growers, {took_s:.0f} s after it was back",
        holds=set(came.values()) == {1},
    )


def kill_prometheus(office: Office, desk: Desk, report: Report) -> None:
    """It goes on with what it had stored."""
    office.prometheus.kill()
    office.prometheus.start()
    office.prometheus.wait_ready()
    took_s = wait_until("both are scraped again", lambda: desk.targets_up() == 2)
    kept = desk.prometheus("query", query="min_over_time(up[10m])")["result"]
    lowest = min((float(each["value"][1]) for each in kept), default=-1.0)
    report.check(
        "kill -9 of prometheus, targets up again",
        f"after {took_s:.1f} s; it remembers the web process that was away: {lowest == 0.0}",
        holds=lowest == 0.0,
    )


def kill_proxy(office: Office, keys: Keys, report: Report) -> None:
    """Polls fail while it is away, and its certificates are those from before."""

    def kill() -> None:
        office.proxy.kill()
        office.proxy.start()
        office.proxy.wait_ready()

    authority = office.authority.read_bytes()
    tally = _polls_while(office, keys, kill)
    after = _polls_while(office, keys, lambda: None)
    is_same = office.authority.read_bytes() == authority
    report.check(
        "kill -9 of proxy",
        f"{tally}; afterwards {after}; the same authority: {is_same}",
        holds=after.bad_count == 0 and is_same,
    )


def back_up(office: Office, desk: Desk, report: Report) -> None:
    """A backup of the server, made while it is used, is whole."""
    folder = office.folder / "backups"
    desk.command("backup", str(folder))
    (made,) = folder.iterdir()
    report.check("backup", desk.command("verify", str(made)).splitlines()[0], holds=True)
    shutil.rmtree(made)


# --- the database --------------------------------------------------------------------------------


def lose_database_in_an_evening(
    office: Office,
    desk: Desk,
    keys: Keys,
    report: Report,
    *,
    prefix: str,
    how: str,
    ends_with: signal.Signals,
) -> None:
    """Everything reconnects by itself; each farm has one plan, whenever the server went away."""

    def lose() -> None:
        _load_large_evening(office, desk, report, prefix)
        wait_until("the evening is claimed", lambda: desk.evenings(prefix)["claimed"] > 0)
        if ends_with is signal.SIGKILL:
            office.database.kill()
        else:
            office.database.stop()
        _start_again(office.database)

    tally = _polls_while(office, keys, lose)
    took_s = wait_until(
        "the evening is done",
        lambda: desk.evenings(prefix)["done"] == FARMS,
        patience_s=LONG_PATIENCE_S,
    )
    attempts = desk.rows(
        "SELECT max(attempt_count) FROM job_run WHERE run_key LIKE %s", f"evening:{prefix}-%"
    )
    plans = desk.plans(prefix)
    report.check(
        f"PostgreSQL {how} in an evening",
        f"done {took_s:.0f} s later at attempt {attempts[0][0]}; {plans}",
        holds=plans.is_one_each and took_s < TAKEN_OVER_WITHIN_S,
    )
    after = _polls_while(office, keys, lambda: None)
    report.check("polls meanwhile", f"{tally}; afterwards {after}", holds=after.bad_count == 0)
    with Door(office.site, office.authority) as door:
        ready = door.get("/readyz")
    report.check("web processes ready again", ready.status, holds=ready.status == 200)


def _start_again(database: Part) -> None:
    """Start the server; after a kill it refuses while something of the old one is still there."""
    for _ in range(20):
        database.start()
        wait_until(
            "the server takes statements or has ended",
            lambda: database.is_ready() or database.has_ended,
        )
        if not database.has_ended:
            return
    database.wait_ready()  # says what is in its log


def see_all_plans(desk: Desk, report: Report) -> None:
    """Over all evenings of the trial."""
    double = desk.rows(
        "SELECT count(*) FROM (SELECT 1 FROM plan WHERE superseded_at IS NULL"
        " GROUP BY block_key, day HAVING count(*) > 1) AS found"
    )[0][0]
    states = desk.evenings("")
    report.check(
        "evenings of the whole trial",
        f"{dict(states)}; blocks with two plans in force: {double}",
        holds=double == 0 and set(states) == {"done"},
    )
