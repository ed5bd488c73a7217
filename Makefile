# Two commands do everything on a fresh machine: `make demo` and `make test`. `make help` lists the rest.
SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help
PYTHON ?= python3
BIN := .venv/bin

.PHONY: help demo test fast check bench fuzz firmware lock spec clean
help: ## what there is
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:[^#]*## /\t/' | expand -t 10

demo: .venv/run ## set up, then play the demo tune on the demo machine into out/demo
	@tools/system_packages.sh gcc libsimavr-dev || echo "going on without the rehearsal on an emulated board" >&2
	$(BIN)/jackrail perform machines/quay_zither.toml tunes/nine_lamps.abc --out out/demo

test: .venv/test check ## set up, then lint, types and every test
	@tools/system_packages.sh chromium || true
	@tools/system_packages.sh abcmidi || echo "going on without abc2midi as a judge of ABC" >&2
	@tools/system_packages.sh gcc libsimavr-dev gcc-avr avr-libc || echo "going on without the tests of the firmware and its emulator" >&2
	$(BIN)/pytest -n 2

fast: .venv/test ## the tests that take under a minute together
	$(BIN)/pytest -n 2 -m "not slow and not browser"

check: .venv/test ## lint and types
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy

bench: .venv/test ## the measures, as ratios in one run
	for script in benchmarks/*.py; do $(BIN)/python $$script; done

SECONDS_EACH ?= 300
fuzz: .venv/test ## look for bytes that break a reader of notation: make fuzz SECONDS_EACH=600
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements/fuzz.txt
	for target in abc musicxml mxl midi; do $(BIN)/python tools/fuzz_readers.py $$target $(SECONDS_EACH); done

firmware: ## build the firmware (needs gcc-avr, avr-libc) into the image that ships with the package
	@tools/system_packages.sh gcc-avr avr-libc
	$(MAKE) -s -C firmware
	cp out/firmware/firmware.hex src/jackrail/board/firmware.hex

spec: .venv/run ## write the tables of the two SPEC documents and the firmware's headers anew from the format tables
	$(BIN)/python tools/write_spec_tables.py
	$(BIN)/python tools/write_link_tables.py

lock: ## pin every dependency again, with hashes and without host names (needs uv)
	uv pip compile --universal --generate-hashes --no-header --python-version 3.11 pyproject.toml --group build -o requirements/run.txt -q -U
	uv pip compile --universal --generate-hashes --no-header --python-version 3.11 pyproject.toml --group dev -o requirements/test.txt -q -U
	uv pip compile --universal --generate-hashes --no-header --python-version 3.11 --group fuzz -o requirements/fuzz.txt -q -U

clean: ## remove what was set up and made
	rm -rf .venv out

.venv/bin/python:
	@tools/system_packages.sh python3-venv
	$(PYTHON) -m venv .venv

.venv/run: .venv/bin/python requirements/run.txt pyproject.toml
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements/run.txt
	$(BIN)/pip install --quiet --disable-pip-version-check --no-build-isolation --no-deps -e .
	@touch $@

.venv/test: .venv/bin/python requirements/test.txt pyproject.toml
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements/test.txt
	$(BIN)/pip install --quiet --disable-pip-version-check --no-build-isolation --no-deps -e .
	@touch $@ .venv/run
