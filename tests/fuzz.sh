#!/usr/bin/env bash
# The long contract pass: thousands of made-up requests of every operation, on SQLite and PostgreSQL.
#
#   bash tests/fuzz.sh          at least 5,000 cases on each database, a quarter of an hour or so
#   bash tests/fuzz.sh 50       50 made-up cases of each operation instead
#
# tests/run.sh does the short pass. It needs the environment that tests/run.sh has made, or the one
# that PYTHON=/path/to/python names. How many requests were answered is counted and shown.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
examples=${1:-150}
python=${PYTHON:-$PWD/.venv/bin/python}
[ -x "$python" ] || {
    printf 'tests/fuzz.sh: no %s; run tests/run.sh first, or set PYTHON\n' "$python" >&2
    exit 2
}
say() { printf '\n== %s\n' "$*"; }

. tests/postgres.sh
[ -n "${RILLWRIGHT_TEST_POSTGRES_URL:-}" ] || {
    printf 'tests/fuzz.sh: no PostgreSQL; nothing was run\n' >&2
    exit 1
}
say "$examples examples of each operation on each database"
RILLWRIGHT_TEST_CONTRACT_EXAMPLES=$examples "$python" -m pytest -q -p no:cacheprovider \
    --timeout 3000 tests/api/test_contract.py -s
