# The environment of the tests, with compiled kernels and modules kept from run to run; sourced by scripts
# that are in the root of the checkout and define $root, $venv, say() and die() first.

. deploy/python.sh

# The stamp is written last, so a half-made environment is made again.
stamp=$("$python" - <<'PY'
import hashlib, pathlib, sys

digest = hashlib.sha256(sys.version.encode() + sys.executable.encode())
for name in ("pyproject.toml", "deploy/constraints.txt"):
    digest.update(pathlib.Path(name).read_bytes())
print(digest.hexdigest())
PY
)
if [ "$(cat "$venv/rillwright-stamp" 2>/dev/null)" != "$stamp" ]; then
    say "making .venv with $("$python" --version)"
    rm -rf "$venv"
    "$python" -m venv "$venv"
    # Much of what is installed is never imported; the rest is compiled when it first is. pip takes
    # this setting for the value of its option "compile".
    PIP_NO_COMPILE=no install_pinned "$venv" deploy/constraints.txt -e .
    printf '%s\n' "$stamp" >"$venv/rillwright-stamp"
fi
export PATH="$venv/bin:$PATH"

# Compiled kernels are shared by the parallel workers and kept from run to run. numba checks only
# the file that defines a kernel, not the kernels it calls in other files, so the cache is named
# after all the sources together and older ones are dropped.
kernels=$(python - <<'PY'
import hashlib, pathlib

digest = hashlib.sha256()
for room in ("service/agronomy", "service/waterworks"):
    for path in (pathlib.Path("service/kernels.py"), *sorted(pathlib.Path(room).rglob("*.py"))):
        digest.update(path.as_posix().encode() + b"\0" + path.read_bytes())
print(digest.hexdigest()[:16])
PY
)
for old in "$venv"/kernels/*; do
    if [ -d "$old" ] && [ "$old" != "$venv/kernels/$kernels" ]; then rm -rf "$old"; fi
done
export NUMBA_CACHE_DIR="$venv/kernels/$kernels"
mkdir -p "$NUMBA_CACHE_DIR"

# Compiled modules are kept too (git ignores them): rewriting the asserts of all tests takes each
# worker as long as some hundreds of tests.
unset PYTHONDONTWRITEBYTECODE

# Two workers on two cores: threads inside the numerical libraries would only get in their way.
export OMP_NUM_THREADS="${OMP_NUM_THREADS:-1}" OPENBLAS_NUM_THREADS="${OPENBLAS_NUM_THREADS:-1}"
export NUMBA_NUM_THREADS="${NUMBA_NUM_THREADS:-2}"
