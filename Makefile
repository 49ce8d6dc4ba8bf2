# Everything a person needs: `make demo` and `make test`. The rest is for those who work on it.
VENV := .venv
BIN := $(VENV)/bin
PORT ?= $(or $(BENCHLEDGER_PORT),8000)
PYTHON ?= python3
READY := $(VENV)/.ready
ARGS ?=

.PHONY: help setup demo serve test bench check format clean

help:
	@echo "make demo    install, load the demonstration data, serve on 127.0.0.1:$(PORT)"
	@echo "make serve   install and serve, no demonstration data"
	@echo "make test    everything this machine can run"
	@echo "make check   format, lint, types"
	@echo "make bench   speed, memory and weight, each beside its floor"

setup: $(READY)

$(READY): requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or newer is needed; try make PYTHON=python3.11")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@$(BIN)/python -m server.static_files
	@$(BIN)/python -m compileall -q server
	@touch $(READY)

demo: setup
	BENCHLEDGER_PORT=$(PORT) $(BIN)/benchledger demo

serve: setup
	BENCHLEDGER_PORT=$(PORT) $(BIN)/benchledger serve

test: setup
	$(BIN)/python -m pytest -n auto --dist loadgroup $(ARGS)

check: setup
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy

format: setup
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: setup
	$(BIN)/python -m benchmarks $(ARGS)

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache .hypothesis
