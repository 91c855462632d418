# Two commands matter: `make rehearse` sets everything up and rehearses a whole job; `make test` checks everything.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.setup-done
SEED ?= 1
PIP_FLAGS := -qq --disable-pip-version-check --no-input

# Of the benchmarks: drawn plants (with `make bench` only when given), holes of each job (0: all).
PLANTS ?=
HOLES ?= 0

.PHONY: setup rehearse test bench bench-plants bench-oracle bench-measuring bench-speed clean

setup: $(STAMP)

$(STAMP): pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	  echo "gapwright needs Python 3.11 or newer; this is $$($(PYTHON) --version 2>&1)."; \
	  echo "Install one and name it: make PYTHON=python3.12 setup"; exit 2; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || { \
	  echo "This Python can't make virtual environments (no ensurepip)."; \
	  echo "On Debian or Ubuntu: sudo apt-get install python3-venv; then run make again."; exit 2; }
	@echo "Setting up in $(VENV) (a minute or two, once) …"
	@$(PYTHON) -m venv $(VENV)
	@$(BIN)/python -m pip install $(PIP_FLAGS) --editable '.[dev]'
	@touch $@

# Every rehearsal gets a folder of its own, named by the moment it began.
rehearse: $(STAMP)
	@$(BIN)/gapwright rehearse diffuser.toml --seed $(SEED) --out runs/$$(date +%Y%m%d-%H%M%S)-$$$$-diffuser

test: $(STAMP)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python -m pytest -q -n 2

# The main job on the default plant; with PLANTS=40, plants drawn at random instead.
bench: $(STAMP)
	@$(BIN)/python -m tests.benchmarks.$(if $(PLANTS),plants --plants $(PLANTS) --holes $(HOLES),bench) --seed $(SEED)

bench-plants: $(STAMP)
	@$(BIN)/python -m tests.benchmarks.plants --seed $(SEED) --plants $(or $(PLANTS),40) --holes $(HOLES)

bench-oracle: $(STAMP)
	@$(BIN)/python -m tests.benchmarks.against_oracle --seed $(SEED) --plants $(or $(PLANTS),4)

bench-measuring: $(STAMP)
	@$(BIN)/python -m tests.benchmarks.measuring --seed $(SEED) --plants $(or $(PLANTS),0) --holes $(HOLES)

# PYTHONS: interpreters of other builds to measure beside the plain one.
bench-speed: $(STAMP)
	@$(BIN)/python -m tests.benchmarks.speed --seed $(SEED) $(foreach each,$(BIN)/python $(PYTHONS),--python $(each))

clean:
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
