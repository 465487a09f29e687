#!/usr/bin/env bash
# Called by make. On Debian and its kin as root it installs what is missing; elsewhere it says
# plainly what to install and stops.
#   bootstrap.sh venv                     Python environment in .venv
#   bootstrap.sh bench                    what the benchmarks compare with, into .venv
#   bootstrap.sh advisories               what make advisories needs, in .cache/advisories
#   bootstrap.sh pages                    parts of the pages that others wrote, through npm
#   bootstrap.sh tools command=package .. programs that tests call (any of command,command=package)
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

say() { printf '%s\n' "$*" >&2; }

can_apt() { [ "$(id -u)" = 0 ] && [ -e /etc/debian_version ] && command -v apt-get >/dev/null; }

apt_install() {
    say "Installing with apt-get: $*"
    apt-get update -qq >&2
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >&2
}

# The first Python of a version that pyproject.toml allows; with "venv", one that can make .venv.
find_python() {
    local name modules='sys'
    [ "${1:-}" = venv ] && modules='sys, ensurepip, venv'
    for name in python3.14 python3.13 python3.12 python3.11 python3; do
        if "$name" -c "import $modules; sys.exit(not (3, 11) <= sys.version_info[:2] < (3, 15))" \
            >/dev/null 2>&1; then
            echo "$name"
            return 0
        fi
    done
    return 1
}

# What constraints.txt lists for the groups, each file checked against its hash.
install_pinned() {
    local folder=$1
    shift
    "$folder/bin/python" scripts/pins.py "$@" >"$folder/pinned.txt"
    "$folder/bin/python" -m pip install --quiet --disable-pip-version-check \
        --require-hashes --requirement "$folder/pinned.txt"
}

# The project itself has no hash, and pip takes none beside those that must have one.
install_project() {
    "$1/bin/python" -m pip install --quiet --disable-pip-version-check \
        --no-deps --no-build-isolation --editable .
}

make_venv() {
    local python
    if ! python=$(find_python venv); then
        if can_apt; then apt_install python3 python3-venv; fi
        if ! python=$(find_python venv); then
            if python=$(find_python); then
                say "$python cannot make a virtual environment: its venv module is missing."
                say "Install it (on Debian and Ubuntu: apt-get install python3-venv) and try again."
            else
                say "Drypoint needs Python 3.11 to 3.14, and none was found on the PATH."
                say "Found instead: $({ python3 --version || echo 'no python3'; } 2>/dev/null)"
                say "Install one of these, with its venv module, and try again."
            fi
            exit 1
        fi
    fi
    # An environment that works is kept; one whose Python has gone is made anew.
    if ! .venv/bin/python -c 'import sys, pip
sys.exit(not (3, 11) <= sys.version_info[:2] < (3, 15))' >/dev/null 2>&1; then
        say "Making .venv with $("$python" --version)"
        "$python" -m venv --clear .venv
    fi
    say "Installing Drypoint and its libraries into .venv (a minute or two the first time)"
    install_pinned .venv pip
    install_pinned .venv base build check test
    install_project .venv
    get_pages || say "Everything else is ready; “drypoint serve” is not."
}

# The environment of make advisories, apart from the one that is tested.
make_advisories() {
    local folder=.cache/advisories
    [ -x "$folder/bin/python" ] || .venv/bin/python -m venv --clear "$folder"
    install_pinned "$folder" pip
    install_pinned "$folder" advisories
}

# What the pages of the workbench need from npm: fetched once, checked against its hash.
get_pages() {
    .venv/bin/python scripts/fetch_vendor.py --check 2>/dev/null && return 0
    if ! command -v npm >/dev/null && can_apt; then apt_install nodejs npm; fi
    .venv/bin/python scripts/fetch_vendor.py >&2
}

get_tools() {
    local pair names name found missing=()
    for pair in "$@"; do
        found=no
        IFS=, read -ra names <<<"${pair%%=*}"
        for name in "${names[@]}"; do
            if command -v "$name" >/dev/null; then found=yes; fi
        done
        [ $found = yes ] || missing+=("${pair#*=}")
    done
    [ ${#missing[@]} = 0 ] && return 0
    if can_apt; then
        apt_install "${missing[@]}"
    else
        say "Programs are needed that are not here. Install (Debian's names): ${missing[*]}"
        exit 1
    fi
}

case "${1:-}" in
    venv) make_venv ;;
    bench) install_pinned .venv bench ;;
    advisories) make_advisories ;;
    pages) get_pages ;;
    tools) shift; get_tools "$@" ;;
    *) say "usage: bootstrap.sh venv | bench | advisories | pages | tools [command[,command]=package ...]"; exit 2 ;;
esac
