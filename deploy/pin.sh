#!/usr/bin/env bash
# Pins every package with the hashes of all its files, for every system and Python from 3.11 on.
#
#   bash deploy/pin.sh                     after a change of pyproject.toml: what is pinned stays
#   bash deploy/pin.sh --upgrade           the newest of everything; run all tests before you keep it
#   bash deploy/pin.sh -P fastapi          the newest of one package
#
# deploy/requirements.txt is what the service runs on, deploy/requirements-tools.txt that with the tools
# for agents, deploy/requirements-cluster.txt that with what studies on a cluster need,
# deploy/constraints.txt all of it and what the tests need. None names an index: pip takes
# the files from wherever it is set up to, and refuses any whose hash is not listed.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

say() { printf '\n== %s\n' "$*"; }
die() {
    printf 'deploy/pin.sh: %s\n' "$*" >&2
    exit 2
}

. deploy/python.sh

scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
"$python" -m venv "$scratch/venv"
"$scratch/venv/bin/python" -m pip install -q --disable-pip-version-check uv==0.13.9

# What builds the project is pinned with the rest, so that it can be built without fetching anything.
"$scratch/venv/bin/python" - >"$scratch/build.in" <<'PY'
import pathlib, tomllib

project = tomllib.loads(pathlib.Path("pyproject.toml").read_text("utf-8"))
print("\n".join(project["build-system"]["requires"]))
PY

pin() {
    local to=$1
    shift
    "$scratch/venv/bin/uv" pip compile -q pyproject.toml "$scratch/build.in" -o "$to" \
        --universal --python-version 3.11 --generate-hashes --no-annotate --no-emit-index-url \
        --no-emit-find-links --custom-compile-command "bash deploy/pin.sh" "$@"
}
say "deploy/constraints.txt"
pin deploy/constraints.txt --extra test --extra tools --extra cluster "$@"
say "deploy/requirements-tools.txt"
pin deploy/requirements-tools.txt -c deploy/constraints.txt --extra tools
say "deploy/requirements-cluster.txt"
pin deploy/requirements-cluster.txt -c deploy/constraints.txt --extra cluster
say "deploy/requirements.txt"
pin deploy/requirements.txt -c deploy/constraints.txt
