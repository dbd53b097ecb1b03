#!/usr/bin/env bash
# From a checkout to a plan in one command, on a machine that has nothing but Python 3.11 or newer.
#
#   bash examples/quickstart.sh               install, show the demonstration, then serve its pages
#   bash examples/quickstart.sh --no-serve    the same without the web server
#
# Nothing outside this checkout is touched: the environment is kept in examples/.venv, the database
# in examples/.run. PYTHON=/path/to/python chooses the interpreter, PORT=8040 the port.
# The farm, the counties and the weather of the demonstration are invented.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
root=$PWD
venv=$root/examples/.venv
run_dir=$root/examples/.run

say() { printf '\n== %s\n' "$*"; }
die() {
    printf 'examples/quickstart.sh: %s\n' "$*" >&2
    exit 2
}

serve=yes
for argument in "$@"; do
    case $argument in
        --no-serve) serve=no ;;
        *) die "unknown argument $argument; known: --no-serve" ;;
    esac
done

. deploy/python.sh

if ! "$venv/bin/python" -c 'import sys' >/dev/null 2>&1; then
    say "making examples/.venv with $("$python" --version)"
    rm -rf "$venv"
    "$python" -m venv "$venv"
fi
say "installing Rillwright into examples/.venv (the first time takes a minute or two)"
install_pinned "$venv" deploy/requirements.txt .

mkdir -p "$run_dir"
export RILLWRIGHT_DATABASE_URL=sqlite:///$run_dir/quickstart.db
rillwright=$venv/bin/rillwright

say "the demonstration"
"$rillwright" demo

cat <<END

The commands above need this environment and this database:
  export PATH="$venv/bin:\$PATH"
  export RILLWRIGHT_DATABASE_URL="$RILLWRIGHT_DATABASE_URL"
examples/README.md goes on from here.
END

if [ "$serve" = yes ]; then
    say "serving the API and its documentation"
    exec "$rillwright" serve ${PORT:+--port "$PORT"}
fi
