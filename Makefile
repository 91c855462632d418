# Two commands matter: `make rehearse` sets everything up and rehearses a whole job; `make test` checks everything.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.setup-done
SEED ?= 1
COMPILED := .venv-compiled
PIP_FLAGS := -qq --disable-pip-version-check --no-input

# Of the benchmarks: drawn plants (with `make bench` only when given), holes of each job (0: all).
PLANTS ?=
HOLES ?= 0

.PHONY: setup rehearse test campaign kills bench bench-plants bench-oracle bench-measuring bench-speed bench-wires \
  bench-locate bench-order bench-budget compiled pictures fuzz golden clean

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
	$(BIN)/mypy docs/pictures.py
	$(BIN)/lint-imports
	$(BIN)/python -m pytest -q -n 2

# Random faults at random moments, on all cores: RUNS=950 takes half an hour on two quiet ones.
RUNS ?= 950
WIRES ?= 50
KILLS ?= 1000
campaign: $(STAMP)
	@$(BIN)/python -m tests.campaign.campaign --runs $(RUNS) --wires $(WIRES) --seed $(SEED)

kills: $(STAMP)
	@$(BIN)/python -m tests.campaign.power_cuts
	@$(BIN)/python -m tests.campaign.kills --kills $(KILLS) --seed $(SEED) --sigkill
	@$(BIN)/python -m tests.campaign.kills --kills $(KILLS) --seed $(SEED)
	@$(BIN)/python -m tests.campaign.wire_kills --kills 30 --seed $(SEED)

# Long benchmarks run on the compiled build: the same bytes, sooner. Only the tests come from here, by a link.
BENCH = PYTHONPATH=build/bench $(COMPILED)/bin/python -P -m tests.benchmarks
build/bench/tests:
	@mkdir -p build/bench && ln -s ../../tests build/bench/tests

# The main job on the default plant; with PLANTS=40, plants drawn at random instead.
bench: $(COMPILED)/.done build/bench/tests
	@$(BENCH).$(if $(PLANTS),plants --plants $(PLANTS) --holes $(HOLES),bench) --seed $(SEED)

bench-plants: $(COMPILED)/.done build/bench/tests
	@$(BENCH).plants --seed $(SEED) --plants $(or $(PLANTS),40) --holes $(HOLES)

bench-oracle: $(COMPILED)/.done build/bench/tests
	@$(BENCH).against_oracle --seed $(SEED) --plants $(or $(PLANTS),4)

# On plain Python: the schedules are put in the place of a function, which a compiled one does not look up.
bench-measuring: $(STAMP)
	@$(BIN)/python -m tests.benchmarks.measuring --seed $(SEED) --plants $(or $(PLANTS),0) --holes $(HOLES)

# The compiled build is measured beside the plain one when `make compiled` has made it.
bench-speed: $(STAMP)
	@$(BIN)/python -m tests.benchmarks.speed --seed $(SEED) \
	  $(foreach each,$(BIN)/python $(wildcard $(COMPILED)/bin/python),--python $(each))

# In real time, on the virtual machine's ports: some forty minutes; for less,
# ONLY=shorts,lateness,attached,deaths,steps,replays.
bench-wires: $(STAMP)
	@$(BIN)/python -m tests.benchmarks.wires --seed $(SEED) $(if $(ONLY),--only $(ONLY))

# Locating over random set-ups, the planned order against the job's own, the stated time against what runs took.
SETUPS ?= 200
bench-locate: $(COMPILED)/.done build/bench/tests
	@$(BENCH).locate --seed $(SEED) --setups $(SETUPS)

bench-order: $(STAMP)
	@$(BIN)/python -m tests.benchmarks.order

bench-budget: $(COMPILED)/.done build/bench/tests
	@$(BENCH).budget --seed $(SEED) --plants $(or $(PLANTS),12)

# The same source through a compiler, in an environment of its own; plain Python where there is no compiler.
compiled: $(COMPILED)/.done

$(COMPILED)/.done: $(STAMP) hatch_build.py $(shell find controller sim configs -name '*.py' -o -name '*.toml')
	@echo "Compiling into $(COMPILED) (two minutes or so) …"
	@test -d $(COMPILED) || $(PYTHON) -m venv $(COMPILED)
	@GAPWRIGHT_COMPILED=1 $(COMPILED)/bin/python -m pip install $(PIP_FLAGS) .
	@cd / && $(CURDIR)/$(COMPILED)/bin/python -c 'import sim.erosion as it; print("Compiled." if it.__file__[-3:] != ".py" \
	  else "This machine has no working compiler: the environment holds plain Python.")'
	@touch $@

# Screen, report and phases as pictures, from one seeded rehearsal; the report needs a chromium.
pictures: $(STAMP)
	@$(BIN)/python docs/pictures.py

# 10^8 random bytes into each parser: some minutes each.
fuzz: $(STAMP)
	@$(BIN)/python -m tests.link.fuzz --bytes 100000000 --seed $(SEED)

# The captures that `make test` repeats, made anew: after a change that is meant to change what the core does.
golden: $(STAMP)
	@$(BIN)/python -m tests.host.golden

clean:
	rm -rf $(VENV) $(COMPILED) build .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
