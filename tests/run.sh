#!/usr/bin/env bash
# Every check of the project in one command, on a machine that has nothing but Python 3.11 or newer.
#
#   bash tests/run.sh                    format, lint, types, import rules, tests
#   bash tests/run.sh -k water_balance   the same; further arguments go on to pytest
#
# PYTHON=/path/to/python chooses the interpreter. The environment is kept in .venv and rebuilt when
# pyproject.toml, deploy/constraints.txt or the interpreter changes.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
root=$PWD
venv=$root/.venv

say() { printf '\n== %s\n' "$*"; }
die() {
    printf 'tests/run.sh: %s\n' "$*" >&2
    exit 2
}

# The pages are looked at in the distribution's Chromium, the units in deploy/systemd are held against
# systemd's own tool, and the tests run on PostgreSQL too. Where one is missing and may be installed, it
# is, while pip is at work; else the tests that need it fail and say so.
missing=()
command -v chromium >/dev/null || missing+=(chromium)
command -v systemd-analyze >/dev/null || missing+=(systemd)
[ -n "${RILLWRIGHT_TEST_POSTGRES_URL:-}" ] || command -v initdb >/dev/null ||
    ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || missing+=(postgresql)
install_missing() {
    local name
    apt-get -qq update >/dev/null || true
    for name in "${missing[@]}"; do
        apt-get -qq install -y --no-install-recommends "$name" >/dev/null ||
            say "$name could not be installed"
    done
}

. deploy/python.sh  # installs too, and two at a time cannot
installing=
if [ ${#missing[@]} -gt 0 ] && command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
    say "installing ${missing[*]}"
    DEBIAN_FRONTEND=noninteractive install_missing </dev/null &
    installing=$!
fi
. tests/environment.sh

failed=()
check() {
    local name=$1
    shift
    say "$name"
    "$@" || failed+=("$name")
}

[ -z "$installing" ] || wait "$installing" || true

# The alert rules are held against Prometheus' own rule tester, and an office is tried with it and with
# the proxy.
. tests/tools.sh
(
    fetch_tool prometheus promtool prometheus
    fetch_tool caddy caddy
) &
fetching=$!
. tests/postgres.sh

python_dirs=()
for dir in service tests migrations examples; do
    if [ -d "$dir" ] && [ -n "$(find "$dir" -name '*.py' -print -quit)" ]; then
        python_dirs+=("$dir")
    fi
done

# mypy keeps one core busy for a minute where it has not run before. Meanwhile the other one does what
# both workers of pytest would else do at the same time: compile the kernels and the tests. The kernels
# of timers and pipes, which an evening without them does not need, follow mypy.
is_cold=
[ -n "$(ls -A "$NUMBA_CACHE_DIR")" ] || is_cold=yes
(
    status=0
    mypy --strict "${python_dirs[@]}" >"$venv/mypy-output" 2>&1 || status=$?
    if [ -n "$is_cold" ]; then
        python -m pytest -qq -p no:cacheprovider -k "not grid" service/agronomy/week_program.py \
            tests/agronomy/test_turns.py service/waterworks >/dev/null 2>&1 || true
    fi
    exit "$status"
) &
mypy=$!
# All checks run even when one fails, so that one run shows everything there is to mend.
check "ruff format" ruff format --check .
check "ruff check" ruff check .
check "lint-imports" lint-imports

if [ -n "$is_cold" ]; then
    say "compiling kernels and tests"
    python -c "import tests.end_to_end.warm_service" || true  # what fails will fail in its test
    python -m pytest --collect-only -qq -p no:cacheprovider >/dev/null || true
fi
# An office as a whole, on the core that mypy leaves; not where only some tests are asked for.
if [ $# = 0 ]; then check "an office, deploy/try.sh" python -m tests.office --short; fi
reported_by_mypy() {
    local status=0
    wait "$mypy" || status=$?
    cat "$venv/mypy-output"
    return "$status"
}
check "mypy --strict" reported_by_mypy
wait "$fetching" || true
check "pytest" python -m pytest -n 2 --dist worksteal "$@"

if [ ${#failed[@]} -gt 0 ]; then
    printf '\ntests/run.sh: failed:' >&2
    printf ' [%s]' "${failed[@]}" >&2
    printf '\n' >&2
    exit 1
fi
