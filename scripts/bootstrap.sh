#!/usr/bin/env bash
# Called by make. On Debian and its kin as root it installs what is missing; elsewhere it says
# plainly what to install and stops.
#   bootstrap.sh venv                     Python environment in .venv
#   bootstrap.sh venv FOLDER VERSION      the same in FOLDER, with Python VERSION (as 3.13)
#   bootstrap.sh pythons                  the oldest and the newest Python that are claimed
#   bootstrap.sh has VERSION              is there an interpreter of that version
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

# The oldest and the newest version in the classifiers of pyproject.toml.
claimed() {
    sed -n 's/.*"Programming Language :: Python :: \(3\.[0-9]*\)".*/\1/p' pyproject.toml |
        sort -t. -k2n | sed -n '1p;$p' | uniq
}

# An interpreter of one version: on the PATH, or kept by pyenv and not chosen.
python_of() {
    local name places
    places=("python$1")
    if command -v pyenv >/dev/null; then
        places+=("$(pyenv root)"/versions/"$1"*/bin/"python$1")
    fi
    for name in "${places[@]}"; do
        if "$name" -c "import sys, ensurepip, venv
sys.exit('%d.%d' % sys.version_info[:2] != '$1')" >/dev/null 2>&1; then
            echo "$name"
            return 0
        fi
    done
    return 1
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
    local folder=${1:-.venv} version=${2:-} python
    if [ -n "$version" ]; then
        if ! python=$(python_of "$version"); then
            say "No Python $version with its venv module was found, neither on the PATH nor with pyenv."
            exit 1
        fi
    elif ! python=$(find_python venv); then
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
    if ! "$folder/bin/python" -c "import sys, pip
sys.exit('$version' not in ('', '%d.%d' % sys.version_info[:2])
         or not (3, 11) <= sys.version_info[:2] < (3, 15))" >/dev/null 2>&1; then
        say "Making $folder with $("$python" --version)"
        "$python" -m venv --clear "$folder"
    fi
    say "Installing Drypoint and its libraries into $folder (a minute or two the first time)"
    install_pinned "$folder" pip
    install_pinned "$folder" base build check test
    install_project "$folder"
    get_pages "$folder" || say "Everything else is ready; “drypoint serve” is not."
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
    local python="${1:-.venv}/bin/python"
    "$python" scripts/fetch_vendor.py --check 2>/dev/null && return 0
    if ! command -v npm >/dev/null && can_apt; then apt_install nodejs npm; fi
    "$python" scripts/fetch_vendor.py >&2
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
    venv) make_venv "${2:-}" "${3:-}" ;;
    pythons) claimed ;;
    has) python_of "${2:-}" >/dev/null ;;
    bench) install_pinned .venv bench ;;
    advisories) make_advisories ;;
    pages) get_pages ;;
    tools) shift; get_tools "$@" ;;
    *) say "usage: bootstrap.sh venv [FOLDER VERSION] | pythons | has VERSION | bench | advisories | pages | tools [command[,command]=package ...]"; exit 2 ;;
esac
