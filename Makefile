# Every target makes its own set-up: a virtual environment in .venv with what it needs.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
READY := $(VENV)/ready
DEV_READY := $(VENV)/dev-ready
PACKAGES := assistant dialogue rules storage

TOOLS := $(VENV)/tools

.PHONY: coverage sbom audit lock talk voice kills fuzz day test check lint types imports validate bench demo clean help

help: ## list the targets
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*## /\t/'

talk: $(READY) ## talk a consultation through, typed
	@$(BIN)/counterpull talk $(ARGS)

demo: $(READY) ## fill a demo shop beside your own data and talk in it
	@$(BIN)/counterpull demo --db sqlite:///demo.sqlite3
	@$(BIN)/counterpull talk --db sqlite:///demo.sqlite3 $(ARGS)

day: $(DEV_READY) ## play a stringer's day by talk and commands, every figure checked (ARGS=shell: commands alone)
	@$(BIN)/python -m tests.assistant.day $(ARGS)

test: $(DEV_READY) ## run every test
	$(BIN)/python -m pytest $(ARGS)

check: lint types imports validate test ## the whole gate

lint: $(DEV_READY) ## style
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(DEV_READY) ## types
	$(BIN)/mypy

imports: $(DEV_READY) ## import directions
	$(BIN)/lint-imports

validate: $(READY) ## rulebook, phrases and cues
	$(BIN)/counterpull check

bench: $(DEV_READY) ## measure, one table
	$(BIN)/python -m pytest tests/benchmarks -o addopts="" --benchmark-only --benchmark-columns=median,iqr,ops,rounds --benchmark-disable-gc -q -s $(ARGS)

voice: $(DEV_READY) ## measure the ears: the long table, the spoken dialogues, how soon an answer begins
	$(BIN)/python -W ignore -m tests.benchmarks.voice_table $(ARGS)
	$(BIN)/python -m pytest tests/benchmarks/test_voice_bench.py -o addopts="" -q -s

kills: $(DEV_READY) ## kill a counter 500 times on SQLite and 100 times on PostgreSQL; nothing acknowledged may be lost
	$(BIN)/python -m tests.storage.kills --times 500
	$(BIN)/python -m tests.storage.kills --times 100 --postgresql

fuzz: $(DEV_READY) ## throw spoilt input at every door for five minutes
	$(BIN)/python -m tests.fuzz $(ARGS)

coverage: $(DEV_READY) ## run every test and say which branches none of them takes
	$(BIN)/coverage erase
	@ended=0; $(BIN)/coverage run -m pytest $(ARGS) || ended=$$?; \
	$(BIN)/coverage combine -q && $(BIN)/coverage report || ended=$$?; \
	exit $$ended  # the report comes also when a test failed, and the failure counts

sbom: $(DEV_READY) ## write the bill of materials (CycloneDX) of what the gate installs
	@mkdir -p build
	$(BIN)/cyclonedx-py environment --pyproject pyproject.toml --output-reproducible -o build/sbom.json $(BIN)/python

audit: $(TOOLS)/ready ## look the locked releases up in the public list of known faults (needs the network)
	$(TOOLS)/bin/pip-audit --strict --no-deps --disable-pip -r .ci/lock.txt

lock: $(TOOLS)/ready $(DEV_READY) ## choose the newest releases the ranges allow, for the gate on Linux, and list their licences
	@mkdir -p build
	$(TOOLS)/bin/uv pip compile pyproject.toml --all-extras --universal --python-version 3.11 --no-header --no-annotate -q -o build/lock.txt $(ARGS)
	grep -vE "; .*sys_platform == '(darwin|win32|emscripten)'" build/lock.txt > .ci/lock.txt
	$(BIN)/python -m tests.dependencies

$(TOOLS)/ready:
	$(PYTHON) -m venv $(TOOLS)
	$(TOOLS)/bin/pip install --quiet --disable-pip-version-check "uv>=0.8" "pip-audit>=2.9"
	@touch $(TOOLS)/ready

$(READY): pyproject.toml .ci/prepare
	@PYTHON=$(PYTHON) VENV=$(VENV) sh .ci/prepare "." </dev/null >&2
	@touch $(READY)

$(DEV_READY): pyproject.toml .ci/prepare .ci/lock.txt
	@PYTHON=$(PYTHON) VENV=$(VENV) sh .ci/prepare ".[dev,voice,browser,physics]" tests </dev/null >&2
	@touch $(READY) $(DEV_READY)

clean: ## remove what was made
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache .benchmarks build dist *.egg-info
