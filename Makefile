# Two commands set everything up on a fresh machine: `make demo` and `make test`.
# What they need beforehand: Python 3.11 or newer, make and git. All else lands in .venv and dist.

# The first Python that really runs and is new enough: a name on the path may be a shim without a Python behind.
PYTHON ?= $(shell for p in python3 python3.11 python3.12 python3.13; do \
  $$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { command -v $$p; break; }; done)
VENV ?= .venv
BIN := $(VENV)/bin
# The reference library that judges our flags, 365 MB: `make test QARTOD=0` goes without it and says so.
QARTOD ?= 1
SOURCES := $(shell find src -type f -not -name '*.pyc') pyproject.toml README.md LICENSE

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: help demo test packages lint bench mutants test-power clean

help:
	@echo "make demo    a simulated pump house through a cold night, in this terminal"
	@echo "make test    everything that CI runs: lint, types, tests on the built wheel"
	@echo "make bench   memory, CPU and start-up, as ratios measured in one run"
	@echo "make mutants some ten minutes of slips in the core that its tests must notice; docs/mutants.md"
	@echo "make test-power   minutes of real power cuts on a recorded disk; needs root"
	@echo "make clean   removes what make made"

demo: $(VENV)/.installed
	$(BIN)/overwinter demo

# The wheel is what is tested: src/ is never on the path of an installed copy.
test: packages $(VENV)/.installed-test $(if $(filter 0,$(QARTOD)),,$(VENV)/.installed-qartod) lint
	$(BIN)/python -m pytest --cov --cov-report=term-missing:skip-covered --cov-fail-under=100

# Debian packages that some tests need; without root those tests say why they are skipped.
packages:
	@for need in strace:strace mkfs.ext4:e2fsprogs mount:mount unshare:util-linux; do \
	  PATH="$$PATH:/usr/sbin:/sbin" command -v $${need%%:*} >/dev/null && continue; \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get install -y --no-install-recommends $${need#*:} || echo "$${need#*:} cannot be installed" >&2; \
	  else echo "$${need#*:} is not installed: tests that need it are skipped" >&2; fi; done

lint: $(VENV)/.installed-test
	$(BIN)/ruff check src tests
	$(BIN)/ruff format --check src tests
	$(BIN)/mypy

bench: $(VENV)/.installed-test
	$(BIN)/python -m tests.bench

# In a venv of its own, so that the tests never see what this tool brings along.
mutants:
	$(MAKE) VENV=$(VENV)-mutants $(VENV)-mutants/.installed
	$(VENV)-mutants/bin/python -m pip install --quiet "$$(ls dist/overwinter-*.whl)[mutants]"
	rm -rf mutants
	$(VENV)-mutants/bin/mutmut run
	$(VENV)-mutants/bin/mutmut results

test-power: $(VENV)/.installed-test
	$(BIN)/python -m tests.rigs.power

$(VENV)/bin/python:
	@test -n "$(PYTHON)" || { echo "Python 3.11 or newer is needed" >&2; exit 1; }
	@"$(PYTHON)" -m venv $(VENV) || { rm -rf $(VENV); \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get install -y --no-install-recommends python3-venv && "$(PYTHON)" -m venv $(VENV); \
	  else echo "Python's venv module is incomplete: as root, apt-get install python3-venv" >&2; exit 1; fi; }

$(VENV)/.wheel: $(SOURCES) | $(VENV)/bin/python
	rm -rf dist
	$(BIN)/python -m pip install --quiet "hatchling>=1.18"
	$(BIN)/python -m pip wheel --quiet --no-deps --no-build-isolation --wheel-dir dist .
	touch $@

$(VENV)/.installed: $(VENV)/.wheel
	$(BIN)/python -m pip install --quiet dist/overwinter-*.whl
	$(BIN)/python -m pip install --quiet --no-deps --force-reinstall dist/overwinter-*.whl
	touch $@

$(VENV)/.installed-test: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet "$$(ls dist/overwinter-*.whl)[test]"
	touch $@

$(VENV)/.installed-qartod: $(VENV)/.installed-test
	$(BIN)/python -m pip install --quiet "$$(ls dist/overwinter-*.whl)[qartod]"
	touch $@

clean:
	rm -rf $(VENV) $(VENV)-mutants mutants build dist .coverage* .hypothesis .mypy_cache .ruff_cache .pytest_cache
