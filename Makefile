# Two commands do everything: `make demo` and `make test`. `make help` lists the rest.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/ready
SERVE ?= 1
.DEFAULT_GOAL := help
.PHONY: help demo test lint fix bench serve schemas lock sources clean

help: ## list the commands
	@grep -hE '^[a-z]+:.*## ' $(MAKEFILE_LIST) | awk -F ':.*## ' '{printf "  make %-9s %s\n", $$1, $$2}'

$(READY): requirements.lock pyproject.toml
	@tools/make-environment "$(PYTHON)" "$(VENV)"
	@touch $@

demo: $(READY) ## play the demo job over the wire, end with the signed dossier (SERVE=0: without the pages)
	@$(BIN)/spinproof demo --home out/demo $(if $(filter 0,$(SERVE)),--no-serve,--serve)

test: lint ## everything: lint, unit, published, PostgreSQL, browser and demo tests
	@tools/system-packages
	@$(BIN)/pytest -q -n auto --dist loadgroup -m "not demo and not browser"
	@$(BIN)/pytest -q -m browser
	@$(BIN)/pytest -q -m demo

lint: $(READY) ## format check, linter, types, import contracts
	@$(BIN)/ruff format --check src tests bench
	@$(BIN)/ruff check src tests bench
	@$(BIN)/mypy
	@$(BIN)/lint-imports

fix: $(READY) ## format, and mend what the linter can mend
	@$(BIN)/ruff format src tests bench
	@$(BIN)/ruff check --fix src tests bench

bench: $(READY) ## print the speed of the main jobs, as ratios in one run
	@$(BIN)/python -m bench.spine
	@$(BIN)/python -m bench.recorder
	@$(BIN)/python -m bench.live
	@$(BIN)/python -m bench.burn_in
	@$(BIN)/python -m bench.plans
	@$(BIN)/python -m bench.drying
	@$(BIN)/python -m bench.slots
	@$(BIN)/python -m bench.prediction
	@$(BIN)/python -m bench.faults
	@$(BIN)/python -m bench.head

serve: $(READY) ## serve the pages of the demo's home folder
	@$(BIN)/spinproof serve --home out/demo

schemas: $(READY) ## write the JSON Schemas of all files that people write
	@$(BIN)/spinproof schema --all docs/schemas

lock: $(READY) ## renew requirements.lock; it names no registry
	@$(BIN)/uv pip compile pyproject.toml --extra postgres --extra sources --extra provenance --extra fleet --group dev --universal --python-version 3.11 \
	  --generate-hashes --no-emit-index-url --no-header --no-annotate --upgrade -q -o requirements.lock

sources: $(READY) ## list the published sources that the checks stand on
	@$(BIN)/pytest --collect-only -q tests/published --sources

clean: ## remove what the demo and the tests made
	@rm -rf out .pytest_cache .mypy_cache .ruff_cache
