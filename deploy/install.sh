#!/usr/bin/env bash
# Installs or upgrades Rillwright on a small computer with systemd, as root, from a checkout.
#
#   bash deploy/install.sh            this version beside those before, then a restart
#   bash deploy/install.sh --tools    the same with the tools for agents
#   bash deploy/install.sh --cluster  the same with what studies on a cluster need
#   bash deploy/install.sh --office   nothing is started: rillwright@serve and rillwright@schedule are there
#                                     to be, with the PostgreSQL that the settings name
#   bash deploy/install.sh --back     back to the version before, with the database as it was then
#
# Each version has a folder of its own in /opt/rillwright, and `current` and `before` point to two of
# them; older ones are removed. Settings are in /etc/rillwright, everything else in /var/lib/rillwright.
# ROOT=/some/folder does it all below that folder, without users and systemd. PYTHON= chooses Python.
set -euo pipefail
umask 022 # the service reads what root installs
cd "$(dirname "${BASH_SOURCE[0]}")/.."
root=${ROOT:-}
home=$root/opt/rillwright
settings=$root/etc/rillwright
state=$root/var/lib/rillwright

say() { printf '\n== %s\n' "$*"; }
die() {
    printf 'deploy/install.sh: %s\n' "$*" >&2
    exit 2
}
on_system() { if [ -z "$root" ]; then "$@"; fi; }

pinned=deploy/requirements.txt
back=no
office=no
for argument in "$@"; do
    case $argument in
        --tools) pinned=deploy/requirements-tools.txt ;;
        --cluster) pinned=deploy/requirements-cluster.txt ;;
        --office) office=yes ;;
        --back) back=yes ;;
        *) die "unknown argument $argument; known: --tools, --cluster, --office, --back" ;;
    esac
done
[ -n "$root" ] || [ "$(id -u)" = 0 ] || die "run this as root"

# The revision of a SQLite database; empty where there is none.
revision_of() {
    "$1" - "$2" <<'PY'
import pathlib, sqlite3, sys

if pathlib.Path(sys.argv[1]).exists():
    opened = sqlite3.connect(sys.argv[1])
    print(*opened.execute("SELECT version_num FROM alembic_version").fetchone() or "")
PY
}

go_back() {
    local before current wanted copy="" database=$state/rillwright.db
    before=$(readlink "$home/before") || die "there is no version before this one"
    current=$(readlink "$home/current")
    wanted=$(cat "$home/$before/revision")
    if [ "$(revision_of "$home/$before/bin/python" "$database")" != "$wanted" ]; then
        # Names begin with the time, so the last one is the newest.
        copy=$(find "$state/before-upgrades" -name "*-at-$wanted.db" | sort | tail -n 1)
        [ -n "$copy" ] || die "no copy of the database is of the version before (revision $wanted)"
    fi
    on_system systemctl stop rillwright
    if [ -n "$copy" ]; then
        mv "$database" "$database.undone"
        rm -f "$database-wal" "$database-shm"
        cp -p "$copy" "$database"
        say "the database is that of $(basename "$copy"); the later one is $database.undone"
    fi
    ln -sfn "$before" "$home/current"
    ln -sfn "$current" "$home/before"
    on_system systemctl start rillwright
    say "back at $before"
}

if [ "$back" = yes ]; then
    go_back
    exit
fi

. deploy/python.sh

case $(readlink -f "$python") in
    "$HOME"/* | /home/*)
        on_system die "$python is in somebody's home, where the service may not look; set PYTHON="
        ;;
esac

version=$(date -u +%Y%m%dT%H%M%SZ)
say "installing into $home/$version"
mkdir -p "$home"
"$python" -m venv "$home/$version"
install_pinned "$home/$version" "$pinned" .
"$home/$version/bin/python" -m compileall -q "$home/$version/lib" || true  # what fails is compiled when it runs
"$home/$version/bin/python" -c \
    'from service.database.migrate import head_revision; print(head_revision())' \
    >"$home/$version/revision"
install -m 0644 README.md "$home/$version/README.md"

say "settings in $settings"
mkdir -p "$settings"
mkdir -p -m 0700 "$settings/secrets"
if [ ! -e "$settings/rillwright.env" ]; then
    cat >"$settings/rillwright.env" <<'END'
# Settings of Rillwright, one NAME=value a line; README.md and service/settings.py explain them.
# Secrets do not belong here: put each into a file of secrets/, such as secrets/mail_password.
#RILLWRIGHT_WEATHER_SERVICES=["nws-grid"]
#RILLWRIGHT_WEATHER_CONTACT=you@your-farm.example
END
fi
if [ -z "$root" ]; then
    systemd-sysusers deploy/systemd/rillwright.sysusers
    install -m 0644 deploy/systemd/*.service /etc/systemd/system/
else
    mkdir -p -m 0700 "$state"
fi

before=$(readlink "$home/current" || true)
ln -sfn "$version" "$home/current"
if [ -n "$before" ]; then
    ln -sfn "$before" "$home/before"
fi
for old in "$home"/2*; do
    case ${old##*/} in "$version" | "$before") ;; *) rm -rf "$old" ;; esac
done

on_system systemd-analyze verify /etc/systemd/system/rillwright.service
on_system systemctl daemon-reload
if [ "$office" = yes ]; then
    say "done: $version; enable rillwright@serve or rillwright@schedule, or restart what runs of them"
    exit
fi
on_system systemctl enable rillwright
say "starting; the first start of a version compiles its kernels, which takes some minutes"
on_system systemctl restart rillwright
say "done: $version; journalctl -u rillwright shows what it does"
