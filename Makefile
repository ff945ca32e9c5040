# Everything runs in a virtual environment made from the hash-pinned lock; nothing else has to be there but python3 and make.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed-$(shell cksum requirements.lock | cut -d' ' -f1)
DEMO_OUT ?= demo-output
SECONDS ?= 212
MINUTES ?= 60
CORE := hazards quantities instruments anatomy imaging shaping irrigation fit heat compaction readiness planning guide assessment evidence fuzz hardening/test_bombs.py

.PHONY: help setup demo serve test lint bench evidence schemas names docs hazards licences dist lock clean fuzz coverage mutants soak

help:
	@echo "make demo    set all up and run the main job on an invented tooth"
	@echo "make serve   open the page on this machine"
	@echo "make test    set all up and run every test"
	@echo "make lint    formatter, linter, type checker, rooms"
	@echo "make bench   timings, as ratios against general-purpose libraries"
	@echo "make evidence  rebuild docs/evidence.md;  make schemas  rebuild docs/formats;  make names  the public names;  make lock  renew the lock"
	@echo "make fuzz    hostile bytes for every reader, one hour;  make soak  work the page for an hour and watch the memory"
	@echo "make coverage  branches of the core that the tests go through;  make mutants  are wrong changes noticed?"
	@echo "make docs    build the documentation site into site/, every link checked"
	@echo "make dist    wheel, source package and bill of materials into dist/;  make licences, make hazards  rebuild their pages"

setup: $(STAMP)

$(STAMP): requirements.lock pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit("canalwright needs Python 3.11 or later") if sys.version_info < (3, 11) else None'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	$(BIN)/python -m pip check --disable-pip-version-check
	rm -f $(VENV)/.installed-*
	touch $@

demo: setup
	$(BIN)/canalwright demo --out $(DEMO_OUT)

serve: setup
	$(BIN)/canalwright serve

test: setup
	$(BIN)/python -m pytest -n 2 --dist loadgroup --no-loadscope-reorder

lint: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: setup
	$(BIN)/python -m benchmarks

evidence: setup
	$(BIN)/python -m tests.evidence.build

schemas: setup
	$(BIN)/python -m canalwright.casefile.schema_files docs/formats

docs: setup
	$(BIN)/python -m sphinx -b html -W --keep-going -q -j auto docs site
	@echo "site/index.html"

names: setup
	$(BIN)/python -m release.names

hazards: setup
	$(BIN)/python -m release.hazards

licences: setup
	$(BIN)/python -m release.licences

dist: setup
	rm -rf dist
	SOURCE_DATE_EPOCH=$$(git log -1 --format=%ct 2>/dev/null || echo 1700000000) $(BIN)/python -m build --no-isolation --outdir dist .
	$(BIN)/python -m release.bill dist/canalwright.cdx.json

fuzz: setup
	$(BIN)/python -m fuzz all --seconds $(SECONDS)

coverage: setup
	rm -f .coverage .coverage.*
	for room in $(CORE); do $(BIN)/python -m coverage run --parallel-mode -m pytest -n 0 tests/$$room || exit 1; done
	$(BIN)/python -m coverage combine
	$(BIN)/python -m coverage report

mutants: setup
	$(BIN)/python -m release.mutants

soak: setup
	$(BIN)/python -m benchmarks.soak --minutes $(MINUTES)

lock:
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet uv
	$(BIN)/uv pip compile --quiet --universal --generate-hashes --no-emit-index-url --no-header --python-version 3.11 --extra dev \
		pyproject.toml -o requirements.lock

clean:
	rm -rf $(VENV) $(DEMO_OUT) dist site .pytest_cache .mypy_cache .ruff_cache .hypothesis
