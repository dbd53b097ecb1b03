"""``python -m tests.office --short`` or ``--long``; deploy/try.sh says what is needed."""

from __future__ import annotations

import argparse
import resource
import shutil
import signal
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from tests.office import long_form, short_form
from tests.office.desk import Desk
from tests.office.parts import TrialFailed
from tests.office.plan_of_office import Office, lay_out, missing_programs
from tests.office.region import evening_place
from tests.office.report import Report


def main() -> int:
    """Try an office; 0: all checks passed."""
    parser = argparse.ArgumentParser(prog="deploy/try.sh", description="Try an office here.")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--short", action="store_true", help="start, one evening, stop (default)")
    form.add_argument("--long", action="store_true", help="with kills, restarts and an upgrade")
    parser.add_argument("--keep", action="store_true", help="keep logs and database")
    chosen = parser.parse_args()
    missing = missing_programs()
    if missing:
        print(f"deploy/try.sh: missing packages: {', '.join(missing)}", file=sys.stderr)
        return 2
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    report = Report()
    folder = Path(tempfile.mkdtemp(prefix="office-"))
    office: Office | None = None
    try:
        office = lay_out(folder, is_durable=chosen.long)
        desk = Desk(office, evening_place(datetime.now(UTC)))
        (long_form.run if chosen.long else run_short)(office, desk, report)
    except TrialFailed as failure:
        report.check("the trial goes on", failure, holds=False)
    finally:
        if office is not None:
            office.end()
        if chosen.keep:
            report.note(f"kept: {folder}")
        else:
            shutil.rmtree(folder, ignore_errors=True)
    spent = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    cpu_s = sum(each.ru_utime + each.ru_stime for each in spent)
    print(
        f"{report.passed_count} checks passed, {len(report.failed)} failed,"
        f" {report.spent_s:.1f} s, {cpu_s:.1f} s of processor time"
    )
    return 1 if report.failed else 0


def run_short(office: Office, desk: Desk, report: Report) -> None:
    """Start, see, stop."""
    keys = short_form.start(office, desk, report, controller_count=1)
    short_form.see_evening(office, desk, report)
    short_form.see_doors(office, keys, report)
    short_form.see_monitoring(office, desk, report)
    short_form.stop(office.parts, report)
    short_form.see_logs(office, report)


if __name__ == "__main__":
    sys.exit(main())
