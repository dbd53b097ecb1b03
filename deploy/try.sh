#!/usr/bin/env bash
# Tries an office on this machine before there is one: the processes of deploy/container with the same
# configuration, from the distribution's packages, on free ports and in a temporary folder.
#
#   bash deploy/try.sh           start, one evening, polls and pages through TLS, mail, metrics, stop
#   bash deploy/try.sh --long    the same with kill -9 of each part in turn, an upgrade under load, and a
#                                PostgreSQL that restarts in the middle of an evening
#   --keep                       leave logs and database where the last lines say
#
# Farms, weather and people are invented. Nothing that runs already is touched, and all that is started
# ends with the trial. Needed: PostgreSQL, Caddy and Prometheus; what is missing is fetched on Debian and
# its kin, else named. The first run makes the environment that the tests use (tests/run.sh).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
root=$PWD
venv=$root/.venv

say() { printf '\n== %s\n' "$*"; }
die() {
    printf 'deploy/try.sh: %s\n' "$*" >&2
    exit 2
}

. tests/environment.sh
. tests/tools.sh
fetch_tool caddy caddy
fetch_tool prometheus prometheus promtool

exec python -m tests.office "$@"
