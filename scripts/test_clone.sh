#!/usr/bin/env bash
# Called by make test-clone: what is committed must pass alone, in another folder, without the data
# that lie beside this one. Collects the whole suite there and runs the tests that read data or may
# be skipped; python is the interpreter of an environment with the libraries.
#   test_clone.sh PYTHON
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

python=$(realpath --no-symlinks "${1:?usage: test_clone.sh PYTHON}")
place=$(mktemp -d)
trap 'rm -rf "$place"' EXIT

# The folder may belong to another user, as it does in many containers.
printf '[safe]\n\tdirectory = *\n' >"$place/gitconfig"
GIT_CONFIG_GLOBAL="$place/gitconfig" git clone --quiet --no-hardlinks "file://$PWD" "$place/alone/drypoint"
# What is fetched for the pages is no part of what is committed (make test fetches it).
for fetched in src/drypoint/app/static/vendor tests/app/vendor; do
  test ! -d "$fetched" || cp -r "$fetched" "$place/alone/drypoint/${fetched%/*}/"
done
cd "$place/alone/drypoint"

# The copy's own source and caches, not those of the environment's editable install.
export PYTHONPATH="$PWD/src" NUMBA_CACHE_DIR="$place/numba"
"$python" -c 'import sys, pathlib, drypoint
here = pathlib.Path(drypoint.__file__).resolve()
sys.exit(not here.is_relative_to(pathlib.Path.cwd().resolve()) and f"{here} was imported")'
"$python" -m pytest -n 2 -p no:cacheprovider --depends-on-place tests
"$python" -m pytest -q -p no:cacheprovider tests/test_skips.py
