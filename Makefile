# What a person needs is Debian 12 with git, make and python3-venv; everything else is fetched here.
.DEFAULT_GOAL := help
.PHONY: help demo test quick soak storm bounds mutants lint site bench kernels table reference vendor lock clean

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
RUNTIME := $(VENV)/.runtime
DEV := $(VENV)/.dev
DEBIAN := $(VENV)/.debian
SUDO := $(shell test "$$(id -u)" = 0 || echo sudo)

help:
	@echo "make demo    plan the built-in shoot and print the verdicts"
	@echo "make test    lint, types, import contracts and all tests"
	@echo "make quick   for the inner loop: ruff, and the tests of rules, shoots and pictures"
	@echo "make soak    ten minutes of a live day with everything changing at once (tests/web/soak.py)"
	@echo "make storm   hours of hostile weather: kills, power cuts, full disks, mutated inputs... (docs/security.md)"
	@echo "make bounds  the tests once more with every index of the compiled loops checked"
	@echo "make mutants MODULE=reach: change a module a little, many times, and list what no test notices (COUNT=60 SEED=1)"
	@echo "make lint    ruff, mypy and the import contracts alone"
	@echo "make site    docs/ as a site in site/; a link that leads nowhere stops it"
	@echo "make bench   the speed measurements, as ratios (bench/README.md)"
	@echo "make table   docs/checks.md, docs/reference.md, the table of docs/rules.md and the output in README.md and docs/walk.md anew"
	@echo "make kernels the list of compiled loops anew (work/kernels.toml)"
	@echo "make lock    requirements/*.txt anew, with hashes"
	@echo "make vendor  check the files that are kept here from elsewhere"

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
		|| { echo "Python 3.11 or newer is needed; this is $$($(PYTHON) -V)."; exit 1; }
	@$(PYTHON) -m venv $(VENV) \
		|| { echo "python3-venv is missing: apt-get install python3-venv"; rm -rf $(VENV); exit 1; }

$(RUNTIME): requirements/build.txt requirements/runtime.txt pyproject.toml | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes \
		-r requirements/build.txt -r requirements/runtime.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

$(DEV): requirements/dev.txt $(RUNTIME)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/dev.txt
	@touch $@

demo: $(RUNTIME)
	@$(BIN)/linkwright demo

# The browser that the tests of the pages drive, the voices that those of sound listen to, a broker. Where they cannot be
# installed these tests are skipped, and say so.
PACKAGES := chromium chromium-headless-shell pocketsphinx-testdata alsa-utils mosquitto tesseract-ocr poppler-utils
$(DEBIAN): Makefile | $(BIN)/python
	@dpkg -s $(PACKAGES) >/dev/null 2>&1 || { $(SUDO) apt-get update -qq && \
		DEBIAN_FRONTEND=noninteractive $(SUDO) apt-get install -y -qq --no-install-recommends $(PACKAGES) >/dev/null; } \
		|| echo "not installed: $(PACKAGES); their tests will be skipped"
	@touch $@

# Four for two processors: tests of pages wait half of their time.
test: lint $(DEBIAN)
	$(BIN)/python -c 'from linkwright.work.compiling import prepare; prepare()'
	$(BIN)/python -m pytest -n 4 --dist worksteal --durations=25

# What a change breaks shows here first, or in `make test`.
quick: $(DEV)
	$(BIN)/ruff check -q .
	$(BIN)/python -m pytest -q -n 2 tests/rules tests/shoot tests/draw tests/docs/test_circles.py

soak: $(DEV) $(DEBIAN)
	$(BIN)/python -m tests.web.soak --minutes 10

storm: $(DEV) $(DEBIAN)
	$(BIN)/python -m tests.storm

# Every index of every compiled loop is checked; the machine code is another, so it is kept apart.
bounds: $(DEV)
	NUMBA_BOUNDSCHECK=1 NUMBA_CACHE_DIR=$(CURDIR)/$(VENV)/.bounds $(BIN)/python -m pytest -n 2 --dist worksteal \
		--ignore=tests/web --ignore=tests/docs --ignore=tests/work

# In a copy of the tree, which is thrown away (docs/decisions/0017-mutants.md).
COUNT ?= 60
SEED ?= 1
mutants: $(DEV) $(DEBIAN)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/mutants.txt
	$(BIN)/python scripts/mutants.py $(MODULE) --count $(COUNT) --seed $(SEED)

lint: $(DEV)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-logo
	$(BIN)/python scripts/check_circles.py
	$(BIN)/python scripts/check_pages.py

site: $(DEV)
	$(BIN)/mkdocs build --strict --quiet

bench: $(DEV)
	$(BIN)/python -m pytest bench --benchmark-only --benchmark-disable-gc -q

kernels: $(DEV)
	$(BIN)/python tests/work/tour.py --write

table: $(DEV)
	$(BIN)/python scripts/make_checks_table.py
	$(BIN)/python scripts/make_reference.py
	$(BIN)/python scripts/make_rules_table.py
	$(BIN)/python scripts/make_roles_table.py
	$(BIN)/python scripts/refresh_readme.py

vendor: $(RUNTIME)
	$(BIN)/python scripts/check_vendored.py

lock: $(DEV)
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements/lock.txt
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-header --no-emit-index-url \
		--no-annotate requirements/build.in -o requirements/build.txt
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-header --no-emit-index-url \
		--no-annotate pyproject.toml -o requirements/runtime.txt
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-header --no-emit-index-url \
		--no-annotate --extra dev pyproject.toml -o requirements/dev.txt
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-header --no-emit-index-url \
		--no-annotate --extra dask --extra input --extra mqtt --extra osc --extra parquet --extra postgresql pyproject.toml \
		-o requirements/extras.txt
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-header --no-emit-index-url \
		--no-annotate requirements/lock.in -o requirements/lock.txt
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-header --no-emit-index-url \
		--no-annotate requirements/mutants.in -o requirements/mutants.txt

clean:
	rm -rf $(VENV) site .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find src tests -name __pycache__ -type d -prune -exec rm -rf {} +
