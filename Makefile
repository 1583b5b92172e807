# SPDX-License-Identifier: GPL-3.0-or-later
# `make demo` and `make test` do everything from a fresh clone; see README.md.
SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DELETE_ON_ERROR:
.DEFAULT_GOAL := help

BIN := .venv/bin
PYTHON ?=
WORKERS ?= 2
export PYTHON

# Each stamp holds the folder it was made in: a clone that was copied or moved with its .venv is set up anew.
ifneq ($(shell cat .venv/.installed 2>/dev/null),$(CURDIR))
$(shell rm -f .venv/.installed)
endif

DEMO := reports/demo
BOATS := restarting standby-pack

.PHONY: help demo test lint typecheck long-test bench validate drift drift-store wheel-test setup setup-dev system clean

help:
	@echo 'make demo       set up, then simulate a boat whose display restarts, and its cure; figures in $(DEMO)/'
	@echo 'make test       set up, then lint, type check and tests'
	@echo 'make long-test  the same tests with many more cases, and the long ones'
	@echo 'make bench      speed and accuracy of the solver settings, as ratios'
	@echo 'make validate   the model against published figures, written to reports/validation.md'
	@echo 'make drift      what moved in the examples since their figures were stored (make drift-store)'
	@echo 'make wheel-test build sdist and wheel, install them in a fresh environment, run a simulation there'
	@echo 'make lint | typecheck | setup | setup-dev | clean'

demo: setup
	@mkdir -p $(DEMO)
	@for boat in $(BOATS); do \
	  printf '\n--- %s\n\n' "$$boat"; \
	  rm -f $(DEMO)/$$boat.*; \
	  $(BIN)/cranksag new --example $$boat -o $(DEMO)/$$boat.toml; \
	  $(BIN)/cranksag simulate $(DEMO)/$$boat.toml --plot $(DEMO)/$$boat.png; \
	  $(BIN)/cranksag simulate $(DEMO)/$$boat.toml --plot $(DEMO)/$$boat.pdf >/dev/null; \
	done
	@printf '\nWritten:\n'; ls $(DEMO)/*

# pytest comes last: its closing line is the last line printed.
test: lint typecheck
	$(BIN)/pytest -n $(WORKERS)

lint: setup-dev
	$(BIN)/ruff check src tests

typecheck: setup-dev
	$(BIN)/mypy

long-test: setup-dev
	HYPOTHESIS_PROFILE=long $(BIN)/pytest -n $(WORKERS) --timeout=5400 -m "long or not long"

# Each benchmark is a script that prints its own table.
bench: setup-dev
	@ls tests/bench/bench_*.py >/dev/null
	@for script in tests/bench/bench_*.py; do printf '\n--- %s\n' "$$script"; $(BIN)/python "$$script"; done

# A row that misses is part of the report, not a failure of the build.
validate: setup
	$(BIN)/cranksag validate -o reports/validation.md || test $$? -eq 1

# What moved in the examples' key figures since they were stored; drift-store stores them anew.
drift: setup
	$(BIN)/python -m cranksag.validate.drift reports/examples.json

drift-store: setup
	$(BIN)/python -m cranksag.validate.drift reports/examples.json --store

# The wheel is built from the sdist, so that a file missing from either shows; run from an empty folder, so that nothing is
# found in the working tree by accident.
wheel-test: setup-dev
	rm -rf build/wheel-test && mkdir -p build/wheel-test/empty
	$(BIN)/hatchling build -t sdist -d build/wheel-test
	$(BIN)/python -m pip wheel --quiet --no-deps --no-build-isolation -w build/wheel-test build/wheel-test/cranksag-*.tar.gz
	$(BIN)/python -m venv build/wheel-test/venv
	build/wheel-test/venv/bin/python -m pip install --quiet -c constraints.txt build/wheel-test/cranksag-*.whl
	cd build/wheel-test/empty && ../venv/bin/cranksag doctor
	cd build/wheel-test/empty && ../venv/bin/cranksag new --example restarting -o boat.toml && ../venv/bin/cranksag simulate boat.toml

setup: .venv/.installed
setup-dev: .venv/.installed-dev

# Looks every time, in a fraction of a second, and installs only what is missing.
system:
	@.ci/system-packages >/dev/null

.venv/.installed: pyproject.toml constraints.txt .ci/environment | system
	@.ci/environment
	@echo '$(CURDIR)' > $@

.venv/.installed-dev: .venv/.installed
	@.ci/environment dev
	@touch $@

clean:
	rm -rf build dist $(DEMO) .hypothesis .mypy_cache .pytest_cache .ruff_cache
	find src tests -name __pycache__ -type d -prune -exec rm -rf {} +
