# Benchward. `make` or `make help` lists what can be done.
# A target with a comment `## words` is listed; a line `##@ Words` starts a group.

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
MAKEFLAGS += --no-print-directory

PYTHON ?= python3
BIN := .venv/bin
RUN_READY := .venv/.run-ready
DEV_READY := .venv/.dev-ready
BENCH_READY := .venv/.bench-ready
LOCK := $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-annotate

##@ Try it
.PHONY: demo reset
demo: $(RUN_READY) ## Start the demo hospital: web server and job worker, one address; Ctrl-C stops both
	@BENCHWARD_DEMO=1 exec $(BIN)/python manage.py up

reset: ## Throw away the local data in var/, to start the demo over
	@if [ -n "$$DATABASE_URL$$BENCHWARD_VAR" ]; then \
	  echo "DATABASE_URL or BENCHWARD_VAR is set: make reset throws away the demo's data in var/ and nothing else." >&2; \
	  echo "Unset it to reset the demo." >&2; exit 1; fi
	@if [ -e var/running ] && kill -0 "$$(cat var/running)" 2>/dev/null; then \
	  echo "Benchward is running (process $$(cat var/running)): stop it with Ctrl-C first." >&2; exit 1; fi
	rm -rf var

##@ Change it
.PHONY: test check format
test: $(DEV_READY) ## Run every test; ARGS="tests/web -k key" runs some
	@$(BIN)/python -m pytest $(ARGS)

check: $(DEV_READY) ## Run all a change must pass besides the tests: style, types, layers, migrations, settings
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-logo
	@BENCHWARD_VAR="$$(mktemp -d)" && export BENCHWARD_VAR BENCHWARD_DEMO=1 && \
	  trap 'rm -rf "$$BENCHWARD_VAR"' EXIT && \
	  echo "manage.py check, manage.py makemigrations --check" && \
	  $(BIN)/python -W error manage.py check --fail-level WARNING && \
	  $(BIN)/python -W error manage.py makemigrations --check --dry-run

format: $(DEV_READY) ## Lay the code out as `make check` wants it
	$(BIN)/ruff check --fix-only --quiet .
	$(BIN)/ruff format .

##@ Measure and show it
.PHONY: bench screenshots
bench: $(BENCH_READY) ## Measure the hot pages and the bulk work on a large fleet
	@$(BIN)/python benchmarks/run.py $(ARGS)

screenshots: $(DEV_READY) ## Make the pictures in README.md again (needs Chromium)
	@$(BIN)/python benchmarks/screenshots.py $(ARGS)

##@ Keep it
.PHONY: lock clean
lock: $(DEV_READY) ## Choose package versions anew and lock them with hashes (ARGS=--upgrade takes newer ones)
	$(LOCK) $(ARGS) -o requirements/dev.txt requirements/dev.in
	$(LOCK) $(ARGS) -c requirements/dev.txt -o requirements/run.txt requirements/run.in
	$(LOCK) $(ARGS) -c requirements/dev.txt -o requirements/bench.txt requirements/bench.in

clean: ## Remove the environment and every cache; the data in var/ stays
	rm -rf .venv .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis
	find fleet tests -name __pycache__ -type d -prune -exec rm -rf {} +

.PHONY: help
help:
	@awk 'BEGIN { FS = ":.*## " } \
	  /^##@/ { printf "\n%s\n", substr($$0, 5) } \
	  /^[a-z]+:.*## / { printf "  make %-12s %s\n", $$1, $$2 }' $(firstword $(MAKEFILE_LIST))

# The environment. A stamp file says that it holds what the lock asks for, so a second run starts at once.
.venv/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
	  echo "Benchward needs Python 3.11 or later, and \"$(PYTHON)\" is not. Name one: make $(MAKECMDGOALS) PYTHON=python3.12" >&2; exit 1; }
	@$(PYTHON) -m venv .venv || { echo "On Debian: apt-get install python3-venv" >&2; rm -rf .venv; exit 1; }

$(RUN_READY): requirements/run.txt | .venv/bin/python
	@[ -e $(DEV_READY) ] && [ ! $< -nt $(DEV_READY) ] || { echo "Installing what Benchward runs on ..."; \
	  $(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r $<; }
	@touch $@

$(DEV_READY): requirements/dev.txt | .venv/bin/python
	@echo "Installing what Benchward runs on and is tested with ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r $<
	@touch $@

$(BENCH_READY): requirements/bench.txt | $(DEV_READY)
	@echo "Installing what Benchward is measured against ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r $<
	@touch $@
