# The same words for people and for CI. `make` alone lists them.
#   PYTHON=python3.12  the interpreter to build .venv with (default: the first that is >= 3.11)
#   OPEN=0             make demo does not open the pages
#   DIR=folder         where make demo puts its case
VENV := .venv
BIN := $(VENV)/bin
RUN_READY := $(VENV)/ready-to-run
TEST_READY := $(VENV)/ready-to-test
MARKS := not full

# Programs that are started often must not compile everything anew each time.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help demo test check fast long bench docs lock

help:
	@echo "make demo   set up, make the lead made-up patient, plan it, open its pages (OPEN=0: do not)"
	@echo "make test   set up, check format, style, types and import order, run the tests (under 20 minutes)"
	@echo "make fast   the unit tests alone (under a minute)"
	@echo "make long   all tests at full load, results in build/long-results.xml"
	@echo "make bench  measured ratios against plain use of general libraries"
	@echo "make docs   reproduce the published figures anew and write docs/validation.md"
	@echo "make lock   resolve the two lock files anew"

$(RUN_READY): requirements.lock pyproject.toml tools/set_up.sh
	@sh tools/set_up.sh $(VENV) requirements.lock
	@touch $@

$(TEST_READY): requirements-test.lock pyproject.toml tools/set_up.sh
	@sh tools/set_up.sh $(VENV) requirements-test.lock
	@touch $@

demo: $(RUN_READY)
	@$(BIN)/vertebloc demo $(if $(DIR),--dir "$(DIR)") $(if $(filter 0,$(OPEN)),--no-open)

check: $(TEST_READY)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

test: check
	$(BIN)/pytest -n 2 --dist loadfile -m "$(MARKS)"

fast: $(TEST_READY)
	$(BIN)/pytest -n 2 --dist loadfile -m "not full and not slow and not real_data and not system" tests/unit

long: $(TEST_READY)
	@mkdir -p build
	$(BIN)/pytest -n 2 --dist loadfile --timeout 3600 --junitxml build/long-results.xml
	@echo "Results: build/long-results.xml"

bench: $(TEST_READY)
	@set -e; for script in benchmarks/[!_]*.py; do \
	  echo "== $$script"; $(BIN)/python "$$script"; done

docs: $(TEST_READY)
	$(BIN)/python tools/validation.py

# No download addresses: only names, versions and hashes. One version of each for all Pythons.
COMPILE := $(BIN)/python -m uv pip compile pyproject.toml --universal --fork-strategy fewest \
  --python-version 3.11 --generate-hashes --no-header --no-annotate --quiet --extra compressed

lock: $(TEST_READY)
	$(COMPILE) --upgrade -o requirements.lock
	$(COMPILE) --upgrade --extra test -c requirements.lock -o requirements-test.lock
