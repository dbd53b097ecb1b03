# Finds a Python that can run the project; sourced by scripts that define say() and die() first.
# Leaves the interpreter in $python. PYTHON=/path/to/python chooses another one.
# install_pinned VENV PINNED PROJECT... puts a pinned list of packages and the project into a venv.

# A name on the PATH is not enough: version managers put shims there for interpreters that they lack.
is_usable() { "$1" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2])' >/dev/null 2>&1; }

find_python() {
    local candidate
    for candidate in ${PYTHON:+"$PYTHON"} python3.11 python3.12 python3.13 python3.14 python3 python; do
        if is_usable "$candidate"; then
            command -v "$candidate"
            return
        fi
    done
    return 1
}

can_make_venv() { "$python" -c 'import ensurepip, venv' >/dev/null 2>&1; }

python=$(find_python) || die "no Python 3.11 or newer found; install one or set PYTHON=/path/to/python"
if ! can_make_venv; then
    # Debian and Ubuntu ship Python without what it takes to make a virtual environment.
    version=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
        say "installing python$version-venv"
        apt-get update -q || true
        DEBIAN_FRONTEND=noninteractive apt-get install -y -q "python$version-venv" ||
            DEBIAN_FRONTEND=noninteractive apt-get install -y -q python3-venv
    fi
    can_make_venv || die "$python lacks the modules venv and ensurepip; on Debian: apt-get install python$version-venv"
fi

# Every file that is fetched must have a hash of the list. The project itself has none: it is built by
# what was installed before it, and fetches nothing.
install_pinned() {
    local venv=$1 pinned=$2
    shift 2
    "$venv/bin/python" -m pip install -q --disable-pip-version-check --require-hashes -r "$pinned"
    "$venv/bin/python" -m pip install -q --disable-pip-version-check \
        --no-deps --no-build-isolation --no-index "$@"
}
