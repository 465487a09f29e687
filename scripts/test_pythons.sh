#!/usr/bin/env bash
# Called by make test-pythons: the whole suite under several versions of Python, each in its own
# environment (.venv-3.11 and the like). Arguments for pytest are taken from PYTEST_ARGS.
#   test_pythons.sh [VERSION ..]   without a version: the oldest and the newest that are claimed,
#                                  as far as an interpreter is at hand
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

passed='' failed='' absent=''
for version in ${*:-$(bash scripts/bootstrap.sh pythons)}; do
    if ! bash scripts/bootstrap.sh has "$version"; then
        absent+=" $version"
        continue
    fi
    echo "== Python $version"
    bash scripts/bootstrap.sh venv ".venv-$version" "$version"
    # shellcheck disable=SC2086  # several arguments
    if ".venv-$version/bin/python" -m pytest ${PYTEST_ARGS:--n 2}; then
        passed+=" $version"
    else
        failed+=" $version"
    fi
done
echo "Passed:${passed:- none}. Failed:${failed:- none}. No interpreter:${absent:- none}."
[ -z "$absent" ] || echo "Before a release, run the suite with$absent too."
# No success: a failure, nothing that ran, or a version that was asked for by name and is absent.
if [ -n "$failed" ] || [ -z "$passed" ]; then exit 1; fi
if [ $# -gt 0 ] && [ -n "$absent" ]; then exit 1; fi
