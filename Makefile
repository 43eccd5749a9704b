# Two commands matter: `make demo` and `make test`. Everything else is for contributors.
.DEFAULT_GOAL := help
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DOCS_VENV := .venv-docs
# One more than the cores that the suite is measured on: a test that talks to a simulated scanner in a process of
# its own waits for half of its time.
WORKERS ?= 3
# Debian packages that some tests want; installed where we are root, else named and their tests skip.
SYSTEM_PACKAGES := gcc tmux libc6-dev ngspice poppler-utils qpdf postgresql gcc-avr binutils-avr avr-libc libsimavr-dev simavr \
  cppcheck clang clang-format clang-tidy chromium

.PHONY: help demo test lint docs archive figures campaign fuzz lock clean system-packages

help:
	@echo "make demo      set up and run the main job on the simulated bench"
	@echo "               (BENCH=firmware: on the reference scanner's program, on an emulated chip;"
	@echo "               WEB=1: in a browser, on this machine)"
	@echo "make test      set up and run all tests"
	@echo "make lint      style, types, import contracts"
	@echo "make docs      build the documentation into site/ (strictly; a venv of its own)"
	@echo "make archive   one file for a machine without a network, with this system's and this Python's libraries"
	@echo "make figures   measure what is promised (SHORT=1 for a quick look)"
	@echo "make campaign  random looms by the thousand over the link (SHORT=1 for a quick look)"
	@echo "make fuzz      broken input, ten minutes each kind (SHORT=1 for a quick look)"
	@echo "make clean     remove what these made"

$(VENV)/runtime.stamp: requirements/runtime.txt pyproject.toml README.md src/loomproof/version.py
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/runtime.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/dev.stamp: $(VENV)/runtime.stamp requirements/dev.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/dev.txt
	@touch $@

ifeq ($(BENCH),firmware)
demo: $(VENV)/dev.stamp system-packages
	$(BIN)/python -m tests.firmware.demo
	$(BIN)/python -m tests.firmware.demo --ohms
else
demo: $(VENV)/runtime.stamp
	$(BIN)/loomproof $(if $(WEB),serve --demo --open,demo)
endif

system-packages:
	@sh tests/system_packages.sh $(SYSTEM_PACKAGES)

# npm brings what looks over the workflow file; where it is not here, the test of that is skipped and says so.
$(VENV)/workflow.stamp: .ci/package-lock.json | $(VENV)/runtime.stamp
	@mkdir -p $(VENV)/workflow
	@cp .ci/package.json .ci/package-lock.json $(VENV)/workflow
	@! command -v npm >/dev/null || npm ci --prefix $(VENV)/workflow --no-audit --no-fund --ignore-scripts --silent || true
	@touch $@

test: $(VENV)/dev.stamp $(VENV)/workflow.stamp system-packages lint
	$(BIN)/python -m pytest -n $(WORKERS) --dist worksteal

lint: $(VENV)/dev.stamp
	$(BIN)/ruff check src tests
	$(BIN)/ruff format --check src tests
	$(BIN)/mypy
	$(BIN)/lint-imports

$(DOCS_VENV)/docs.stamp: requirements/docs.txt
	$(PYTHON) -m venv $(DOCS_VENV)
	$(DOCS_VENV)/bin/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/docs.txt
	@touch $@

# Pages and pictures are laid together by the program; the site is built of them by what knows nothing of it.
# Not --quiet: it swallows the warnings that --strict counts.
docs: $(VENV)/runtime.stamp $(DOCS_VENV)/docs.stamp
	$(BIN)/python -m tests.docs.site build/docs
	NO_MKDOCS_2_WARNING=1 $(DOCS_VENV)/bin/python -m mkdocs build --strict
	$(BIN)/python -m tests.docs.built site

archive: $(VENV)/runtime.stamp
	$(BIN)/python -m tests.single_file.build dist

figures: $(VENV)/dev.stamp
	$(BIN)/python -m tests.figures $(if $(SHORT),--short)

campaign: $(VENV)/dev.stamp
	$(BIN)/python -m tests.campaign $(if $(SHORT),--short)

fuzz: $(VENV)/dev.stamp
	$(BIN)/python -m tests.fuzz $(if $(SHORT),--short)

# Locks carry hashes and no hosts, for Linux, macOS and Windows alike.
lock:
	uv pip compile -q --universal --generate-hashes --no-emit-index-url --no-emit-find-links --no-header \
	  --python-version 3.11 pyproject.toml --group build --extra web \
	  -c .ci/lock_limits.txt -o requirements/runtime.txt
	uv pip compile -q --universal --generate-hashes --no-emit-index-url --no-emit-find-links --no-header \
	  --python-version 3.11 pyproject.toml --group build --group test --group lint \
	  --extra postgresql --extra web --extra fleet -c requirements/runtime.txt \
	  -c .ci/lock_limits.txt -o requirements/dev.txt
	uv pip compile -q --universal --generate-hashes --no-emit-index-url --no-emit-find-links --no-header \
	  --python-version 3.11 --group docs -o requirements/docs.txt

clean:
	rm -rf $(VENV) $(DOCS_VENV) out dist build site .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
