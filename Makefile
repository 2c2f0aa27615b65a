# Everything there is to remember. Each target sets up what it needs in .venv.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
PIP := $(BIN)/pip install --quiet --disable-pip-version-check
# more threads in each would only stand in the way
# one process more than there are cores, because some wait for a browser or an office suite
WORKERS := $(shell expr $$(getconf _NPROCESSORS_ONLN) + 1)
TESTS := POLARS_MAX_THREADS=1 $(BIN)/python -m pytest -n $(WORKERS) --dist loadfile --no-loadscope-reorder

.PHONY: help demo test test-quick check mutants decade docs catalogues vendor bench lock lowest wheel clean

help:  ## this list
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/' | expand -t 12

demo: $(STAMP)  ## run the whole way on demo_package; outputs in demo_output/
	$(BIN)/treenail demo demo_output

test: $(STAMP)  ## run the tests
	$(TESTS)

test-quick: $(STAMP)  ## run them without browser, office suite, kills and mounted folders
	$(TESTS) -m "not heavy"

check: $(STAMP)  ## lint, types, and who may import whom
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

mutants: $(STAMP)  ## plant a few faults in rules and units, and see that the tests notice
	$(BIN)/python tests/mutants.py --seed 1 --most 3 provenance/_checks/rules provenance/_intake/values/units.py

SEEDS := 10
STEPS := 200
decade: $(STAMP)  ## simulate decades of a store against a model: SEEDS=10 STEPS=200
	$(BIN)/python -m tests.store.decade $(SEEDS) $(STEPS)

docs: $(STAMP)  ## write rule list and README tables again, and the site into build/docs
	$(BIN)/python -m provenance._checks.rule_book
	$(BIN)/python -m provenance._cli.overview README.md
	$(BIN)/python -m sphinx --quiet --fail-on-warning --keep-going -b html docs build/docs

catalogues: $(STAMP)  ## collect the texts of forms again into templates/languages
	PYTHONPATH=. $(BIN)/python tests/catalogues.py

vendor: $(STAMP)  ## fetch the browser libraries again, as templates/desk/vendor/vendor.json says
	PYTHONPATH=. $(BIN)/python tests/vendored.py

bench: $(STAMP)  ## measure; prints ratios (see benchmarks/README.md)
	for script in benchmarks/*.py; do $(BIN)/python $$script || exit 1; done

lock: $(STAMP)  ## pin the versions that are installed now
	echo '# Versions that the tests were last run with on Python 3.11; made by `make lock`.' > requirements.lock
	$(BIN)/pip freeze --exclude-editable | grep -v '^treenail' >> requirements.lock

lowest: $(STAMP)  ## try the lowest versions that pyproject.toml allows
	PATH="$(CURDIR)/$(BIN):$$PATH" .ci/versions lowest-direct

wheel: $(STAMP)  ## build the wheel into dist/
	$(BIN)/pip wheel --quiet --no-deps --wheel-dir dist .

$(STAMP): pyproject.toml requirements.lock
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
	  echo "Python 3.11 or later is needed; name it with: make PYTHON=python3.12 $(MAKECMDGOALS)"; exit 2; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { \
	  echo "Python's venv is missing. On Debian or Ubuntu: sudo apt-get install python3-venv"; exit 2; }
	$(PYTHON) -m venv $(VENV)
	$(PIP) uv
	@# many times as fast; where it cannot reach the packages, as behind some mirrors, pip can
	VIRTUAL_ENV=$(VENV) $(BIN)/uv pip install --quiet -r requirements.lock || $(PIP) -r requirements.lock
	VIRTUAL_ENV=$(VENV) $(BIN)/uv pip install --quiet --no-deps -e . || $(PIP) --no-deps -e .
	@touch $(STAMP)

clean:  ## remove what was built (never your packages)
	rm -rf $(VENV) build dist demo_output *.egg-info .pytest_cache .mypy_cache .ruff_cache
