# firstcast: `make` lists the targets.
PYTHON ?= python3
ifeq ($(OS),Windows_NT)
BIN := .venv/Scripts
else
BIN := .venv/bin
endif
export PYTHONPATH :=

.PHONY: help setup demo test lint types layers check benchmark clean

help:
	@echo "make demo       install into .venv, make the demo figure, take it along the route, say where things are"
	@echo "make test       install into .venv, run the tests"
	@echo "make check      lint + types + layers + test"
	@echo "make benchmark  time the heavy stations side by side with general libraries"
	@echo "make clean      remove the demo and build products (not .venv)"

.venv/installed: pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e .
	@touch $@

.venv/installed-dev: .venv/installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e ".[dev]"
	@touch $@

.venv/installed-lint: .venv/installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e ".[lint]"
	@touch $@

setup: .venv/installed-dev .venv/installed-lint

demo: .venv/installed
	$(BIN)/python examples/heron/make_parts.py demo/heron/parts
	$(BIN)/python -c "import shutil; shutil.copy('examples/heron/job.toml', 'demo/heron/job.toml')"
	@$(BIN)/firstcast run demo/heron || { code=$$?; [ $$code -eq 3 ] || [ $$code -eq 4 ]; } && echo "Pictures: demo/heron/pictures. Masters: demo/heron/masters, or demo/heron/held where the card says so."

test: .venv/installed-dev
	$(BIN)/python -m pytest -n 2 --dist loadfile

lint: .venv/installed-lint
	$(BIN)/ruff check
	$(BIN)/ruff format --check

types: .venv/installed-lint
	$(BIN)/basedpyright

layers: .venv/installed-lint
	$(BIN)/lint-imports

check: lint types layers test

benchmark: .venv/installed-dev
	$(BIN)/python benchmarks/run_all.py

clean:
	rm -rf demo build dist .pytest_cache .ruff_cache
