# make demo | test | check | bench | docs | setup | clean      (GNU make, bash)
SHELL := bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help

BIN := .venv/bin
STAMP := .venv/.drypoint-setup
# What only the tests need besides Python, as command=debian-package pairs (any one of several
# commands, with commas between them)
APT_TEST ?= postgres,pg_ctlcluster=postgresql pdftotext=poppler-utils chromium=chromium \
  ccx=calculix-ccx git=git
# What the benchmarks compare with.
APT_BENCH ?= ccx=calculix-ccx chromium=chromium

export NUMBA_CACHE_DIR ?= $(CURDIR)/.cache/numba
export MPLBACKEND ?= Agg

.PHONY: help setup demo test test-clone test-pythons check bench docs wheel clean tools-test
.PHONY: advisories

help:
	@echo 'make demo    write an invented study, run it, report on it (in build/demo)'
	@echo 'make test    the whole test suite'
	@echo 'make test-clone    what is committed, alone in another folder'
	@echo 'make test-pythons  the whole test suite with the oldest and the newest Python'
	@echo 'make check   style, types, which room imports which'
	@echo 'make bench   how long the usual work takes'
	@echo 'make wheel   a wheel and a source archive, with all that the pages need (in dist)'
	@echo 'make docs    do the code and the links in docs/ hold'
	@echo 'make advisories  which of the pinned libraries have known weaknesses (asks the registry)'
	@echo 'make setup   the Python environment in .venv (the others do this when needed)'
	@echo 'make clean   remove build/ and caches (not .venv)'

setup: $(STAMP)

$(STAMP): pyproject.toml constraints.txt scripts/bootstrap.sh scripts/pins.py src/drypoint/app/vendor.toml
	@bash scripts/bootstrap.sh venv
	@touch $@

tools-test:
	@bash scripts/bootstrap.sh tools $(APT_TEST)
	@bash scripts/bootstrap.sh pages

# Exit code 3 of `drypoint run`: done, with some records set aside. The demo has such records.
demo: $(STAMP)
	@rm -rf build/demo
	$(BIN)/drypoint demo build/demo --seed 7
	$(BIN)/drypoint calibrate build/demo/bench/bench.toml --accept --who 'A. Example (invented)' \
	  --why 'residuals and block looked at' --ledger build/demo/ledger.sqlite
	$(BIN)/drypoint run build/demo/study.toml || { code=$$?; test $$code -eq 3 || exit $$code; \
	  echo 'Some records were set aside; the demo has them on purpose.'; }
	$(BIN)/drypoint report build/demo/study.toml
	$(BIN)/drypoint ledger add-study build/demo/study.toml --who 'A. Example (invented)' \
	  --ledger build/demo/ledger.sqlite
	$(BIN)/drypoint run build/demo/scratch/scratch.toml
	$(BIN)/drypoint report build/demo/scratch/scratch.toml
	@echo; echo 'The study, its results and its report are in $(CURDIR)/build/demo:'
	@find build/demo -newer build/demo/study.toml -type f | sort | sed 's/^/  /'

test: $(STAMP) tools-test
	$(BIN)/python -m pytest -n 3 --dist worksteal

# With the oldest and the newest Python that pyproject.toml claims, each in an environment of its
# own. One that is not at hand is named and left out; one asked for by PYTHONS='3.13' must be there.
PYTHONS ?=
test-pythons: $(STAMP) tools-test
	@bash scripts/test_pythons.sh $(PYTHONS)

# What is committed, without anything that lies beside this folder.
test-clone: $(STAMP) tools-test
	bash scripts/test_clone.sh $(BIN)/python

check: $(STAMP)
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy src
	$(BIN)/lint-imports

# The figures of docs/reference/speed.md, then a quick look at the longer studies.
bench: $(STAMP)
	@$(BIN)/python -c 'import pandas' 2>/dev/null || bash scripts/bootstrap.sh bench
	@bash scripts/bootstrap.sh tools $(APT_BENCH) || echo 'Going on without it.'
	$(BIN)/python benchmarks/bench_speed.py --write
	@for file in benchmarks/bench_*.py; do test "$$file" != benchmarks/bench_speed.py || continue; \
	  echo "== $$file --quick"; $(BIN)/python "$$file" --quick; done

docs: $(STAMP)
	$(BIN)/python -m pytest tests/test_docs.py

# Not part of .ci/run: what it answers changes without a change here.
advisories: $(STAMP)
	@bash scripts/bootstrap.sh advisories
	@.cache/advisories/bin/python scripts/advisories.py

# From the source archive the wheel is built, which shows that the archive is whole.
wheel: $(STAMP)
	@if ! $(BIN)/python scripts/fetch_vendor.py --for pages --check 2>/dev/null; then \
	  bash scripts/bootstrap.sh pages; fi
	rm -rf dist
	$(BIN)/python -m build --no-isolation --outdir dist

clean:
	rm -rf build dist .cache .hypothesis .import_linter_cache .mypy_cache .pytest_cache .ruff_cache
	find src tests benchmarks -name __pycache__ -type d -prune -exec rm -rf {} +
