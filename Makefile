# Everything starts from a fresh clone: each target does the set-up that it needs, once.
#   make run           the workbench with the demo job
#   make test          style, types and all tests
#   make bench         the benchmarks against outside programs
#   make walks         the pages and pictures that are made from the program
#   make screenshots   pictures of the pages, into screenshots/

PYTHON ?= python3
export PYTHON
# Where it is set, each of the many processes of a test run would compile all its libraries again: half of the run.
unexport PYTHONDONTWRITEBYTECODE
BIN := .venv/bin
BUNDLE := src/halfsplit/workbench/static/dist/main.js
TEST_PACKAGES := ngspice libngspice0 chromium-headless-shell postgresql poppler-utils fonts-liberation

.NOTPARALLEL:
.PHONY: help run test check system format lock bench walks screenshots clean

help:
	@sed -n 's/^#   //p' Makefile

run: .venv/.core .venv/.compiled $(BUNDLE)
	$(BIN)/halfsplit demo

# One run tells everything: the tests run though the style may be wrong.
test: system .venv/.test .venv/.compiled $(BUNDLE)
	@status=0; $(MAKE) --no-print-directory check || status=1; \
	$(BIN)/python -m pytest -n 2 --no-loadscope-reorder || status=1; exit $$status

check: .venv/.test $(BUNDLE)
	@status=0; \
	for command in '$(BIN)/ruff check' '$(BIN)/ruff format --check' '$(BIN)/mypy' 'npm --prefix frontend run --silent types'; do \
		echo "$$command"; $$command || status=1; \
	done; exit $$status

system:
	@tools/install-system-packages $(TEST_PACKAGES)

bench: .venv/.test .venv/.compiled
	@tools/install-system-packages ngspice libngspice0
	$(BIN)/python -m bench all

walks: .venv/.test
	$(BIN)/python tools/walks.py
	$(BIN)/python tools/house.py

screenshots: .venv/.test $(BUNDLE)
	@tools/install-system-packages chromium-headless-shell fonts-liberation
	mkdir -p screenshots
	HALFSPLIT_SCREENSHOTS=$(CURDIR)/screenshots $(BIN)/python -m tests.browser.furnished

format: .venv/.test
	$(BIN)/ruff check --fix
	$(BIN)/ruff format

lock: .venv/.test
	tools/lock

.venv/.core: requirements/core.txt requirements/tools.txt pyproject.toml
	tools/set-up-python core
	@touch $@

.venv/.test: requirements/test.txt requirements/tools.txt pyproject.toml
	tools/set-up-python test
	@touch $@ .venv/.core

# Compiled code is made anew with its sources: its cache notices a change of its own file only.
.venv/.compiled: tools/compile-solution.py src/halfsplit/diagnosis/ramps.py src/halfsplit/diagnosis/rollout.py src/halfsplit/capture/measure/wheel_path.py $(wildcard src/halfsplit/circuit/*.py)
	$(BIN)/python tools/compile-solution.py
	@touch $@

$(BUNDLE): $(shell find frontend/src -type f) frontend/package-lock.json frontend/build.mjs
	tools/set-up-frontend
	@touch $@

clean:
	rm -rf .venv frontend/node_modules src/halfsplit/workbench/static/dist screenshots .mypy_cache .ruff_cache .pytest_cache .hypothesis
