# Two commands for a stranger: `make demo` (the main job) and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet
UV ?= uv

.PHONY: demo serve test check bench pin docs clean

$(VENV)/pip.made:
	$(PYTHON) -m venv $(VENV)
	touch $@

# The tool and what it needs; a venv that already has the test tools has all of that, too.
# Without byte code of what is never imported it takes a fifth less room.
$(VENV)/base.made: $(VENV)/pip.made requirements/base.txt pyproject.toml
	test -e $(VENV)/dev.made || $(PIP) install --no-compile --require-hashes -r requirements/base.txt
	$(PIP) install --no-deps --no-build-isolation --editable .
	touch $@

$(VENV)/dev.made: $(VENV)/pip.made requirements/dev.txt pyproject.toml
	$(PIP) install --require-hashes -r requirements/dev.txt
	$(PIP) install --no-deps --no-build-isolation --editable .
	touch $@

demo: $(VENV)/base.made
	$(BIN)/soffit demo library demo-out/library --force
	$(BIN)/soffit design demo-out/library
	$(BIN)/soffit check demo-out/library || test $$? -eq 1
	$(BIN)/soffit papers demo-out/library

serve: $(VENV)/base.made
	mkdir -p jobs
	$(BIN)/soffit serve jobs

test: $(VENV)/dev.made
	$(BIN)/python -m pytest -n auto

check: $(VENV)/dev.made
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/codespell src tests docs benchmarks README.md CONTRIBUTING.md CHANGELOG.md

bench: $(VENV)/dev.made
	$(BIN)/python -m benchmarks

# Needs uv, only for whoever moves the pins.
pin:
	$(UV) pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate --group build pyproject.toml -o requirements/base.txt
	$(UV) pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate --all-extras --group build --group dev pyproject.toml -c requirements/base.txt -o requirements/dev.txt

clean:
	rm -rf $(VENV) demo-out build dist
