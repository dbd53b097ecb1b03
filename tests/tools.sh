# Programs of the distribution for tests, without installing them; sourced by scripts that define say()
# and $venv first.
#
# fetch_tool PACKAGE PROGRAM... takes programs out of a package into $venv/tools where they are missing.
# Installing the package would start a server.
export PATH="$PATH:$venv/tools/usr/bin"

fetch_tool() {
    local package=$1 program
    shift
    for program in "$@"; do
        command -v "$program" >/dev/null && continue
        command -v apt-get >/dev/null || break
        say "fetching $package"
        mkdir -p "$venv/tools"
        (cd "$venv/tools" && rm -f "${package}"_*.deb && { apt-get -qq download "$package" 2>/dev/null ||
            { apt-get -qq update && apt-get -qq download "$package"; }; } &&
            dpkg -x "${package}"_*.deb . && rm "${package}"_*.deb) >/dev/null ||
            say "$package could not be fetched"
        break
    done
}
