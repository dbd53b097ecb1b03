# A private PostgreSQL for one run of the tests; sourced by tests/run.sh, which defines say().
#
# Starts a server from the distribution's package in a temporary folder, reached through a unix
# socket alone, exports RILLWRIGHT_TEST_POSTGRES_URL and stops the server when the shell ends. If
# the package is missing it is installed, if that is allowed. Without a server the tests run on
# SQLite alone, with a clear message, and under CI they fail. A URL that is already set is used as
# it is.

# runuser is an administrator's program, which may not be on an ordinary PATH.
PATH=$PATH:/usr/sbin:/sbin

postgres_dir=

# The newest version that the distribution has installed.
postgres_programs() {
    local found
    if command -v pg_ctl >/dev/null && command -v initdb >/dev/null; then
        dirname "$(readlink -f "$(command -v pg_ctl)")"
        return
    fi
    found=$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -t/ -k5 -n | tail -n 1)
    [ -n "$found" ] && [ -x "$found/initdb" ] && [ -x "$found/pg_ctl" ] && printf '%s\n' "$found"
}

# The server refuses to run as root: then it runs as the package's user, otherwise as ours.
as_postgres() {
    if [ "$(id -u)" = 0 ]; then
        (cd / && runuser -u postgres -- "$@")
    else
        "$@"
    fi
}

stop_postgres() {
    [ -n "$postgres_dir" ] || return 0
    as_postgres "$postgres_programs/pg_ctl" -D "$postgres_dir/data" -m immediate -s stop || true
    rm -rf "$postgres_dir"
    postgres_dir=
}

start_postgres() {
    if ! postgres_programs=$(postgres_programs); then
        [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null || return 1
        say "installing postgresql"
        apt-get update -q &&
            DEBIAN_FRONTEND=noninteractive apt-get install -y -q postgresql || return 1
        postgres_programs=$(postgres_programs) || return 1
    fi
    # Not below the checkout: its folders may be closed to the user of the server, and the path of a
    # socket may have 107 bytes at most.
    postgres_dir=$(mktemp -d) || return 1
    if [ "$(id -u)" = 0 ]; then chown postgres "$postgres_dir" || return 1; fi
    # A crash of this server can only lose test data, so nothing waits for the disk. Its databases are
    # small and soon gone: vacuuming and compiling of statements would cost more than they save.
    as_postgres "$postgres_programs/initdb" -D "$postgres_dir/data" -U postgres -A trust -E UTF8 \
        --locale=C --no-sync >/dev/null || return 1
    as_postgres "$postgres_programs/pg_ctl" -D "$postgres_dir/data" -l "$postgres_dir/log" -w -s \
        -o "-c listen_addresses= -c unix_socket_directories=$postgres_dir -c fsync=off \
            -c full_page_writes=off -c autovacuum=off -c jit=off -c max_connections=200 \
            ${RILLWRIGHT_TEST_POSTGRES_OPTIONS:-}" start ||
        return 1
    export RILLWRIGHT_TEST_POSTGRES_URL="postgresql+psycopg://postgres@/postgres?host=$postgres_dir"
}

if [ -z "${RILLWRIGHT_TEST_POSTGRES_URL:-}" ]; then
    trap stop_postgres EXIT
    if start_postgres; then
        say "tests run on SQLite and on $("$postgres_programs/postgres" --version)"
    else
        stop_postgres
        say "!!! NO POSTGRESQL: THE TESTS RUN ON SQLITE ALONE !!!"
        if [ -n "${CI:-}" ]; then
            printf 'tests/postgres.sh: PostgreSQL is required under CI\n' >&2
            exit 1
        fi
    fi
fi
