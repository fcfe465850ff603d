# Two commands set everything up on a fresh machine: `make demo` and `make test`.
# What they need beforehand: Python 3.11 or newer, make and git. All else lands in .venv and dist.

# The first Python that really runs and is new enough: a name on the path may be a shim without a Python behind.
PYTHON ?= $(shell for p in python3 python3.11 python3.12 python3.13; do \
  $$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { command -v $$p; break; }; done)
VENV ?= .venv
BIN := $(VENV)/bin
# The reference libraries that judge our figures, 700 MB: `make test REFERENCES=0` goes without, and says so.
REFERENCES ?= 1
# Side by side; many tests wait for a real guard, so one more than a small machine has cores.
WORKERS ?= 3
SOURCES := $(shell find src -type f -not -name '*.pyc') pyproject.toml hatch_build.py README.md LICENSE

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: help demo test packages lint bench bench-learning bench-safety docs mutants test-power test-gpio fuzz clean install uninstall wheels

help:
	@echo "make demo    a simulated pump house through a cold night, in this terminal"
	@echo "make test    everything that CI runs: lint, types, tests on the built wheel"
	@echo "make bench   memory, CPU and start-up, as ratios measured in one run"
	@echo "make bench-learning   what is learned and found in 378 simulated winters, against the goals; half an hour"
	@echo "make bench-safety   undershoot and ice in seven simulated houses, against the goals"
	@echo "make docs    the reference and the pictures, made anew from the program"
	@echo "make mutants some ten minutes of slips in the core that its tests must notice; docs/mutants.md"
	@echo "make test-power   minutes of real power cuts on a recorded disk; needs root"
	@echo "make fuzz    a longer storm on the socket, and a search guided by coverage"
	@echo "make test-gpio    the hardened unit on a real kernel's GPIO lines, in a simulated machine; root, Debian 12"
	@echo "make clean   removes what make made"
	@echo "sudo make install     the service, for Raspberry Pi OS and Debian; again for an upgrade"
	@echo "sudo make uninstall   keeps settings and logbook; PURGE=1 takes them away too"
	@echo "make wheels WHEELS=DIR   what install needs, for a machine without a network: make install WHEELS=DIR"

demo: $(VENV)/.installed
	$(BIN)/overwinter demo

# The wheel is what is tested: src/ is never on the path of an installed copy.
test: packages $(VENV)/.installed-test $(if $(filter 0,$(REFERENCES)),,$(VENV)/.installed-references) lint
	$(BIN)/python -m pytest --numprocesses=$(WORKERS) --dist=loadfile \
	  --cov --cov-report=term-missing:skip-covered --cov-fail-under=100

# Debian packages that some tests need; without root those tests say why they are skipped.
NEEDED = strace:strace mkfs.ext4:e2fsprogs mount:mount unshare:util-linux nsenter:util-linux setpriv:util-linux \
  useradd:passwd groff:groff-base shellcheck:shellcheck zsh:zsh fish:fish openssl:openssl chromium:chromium \
  systemd-analyze:systemd systemd-nspawn:systemd-container mosquitto:mosquitto sshd:openssh-server \
  promtool:prometheus prometheus-node-exporter:prometheus-node-exporter
packages:
	@export PATH="$$PATH:/usr/sbin:/sbin" DEBIAN_FRONTEND=noninteractive; missing=; \
	for need in $(NEEDED); do command -v $${need%%:*} >/dev/null || missing="$$missing $${need#*:}"; done; \
	test -n "$$missing" || exit 0; \
	if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	  apt-get install -y --no-install-recommends $$missing >/dev/null || { apt-get update && \
	    apt-get install -y --no-install-recommends $$missing >/dev/null; } || \
	    echo "cannot be installed, so tests that need one of them are skipped:$$missing" >&2; \
	else echo "not installed, so tests that need one of them are skipped:$$missing" >&2; fi

lint: $(VENV)/.installed-test
	$(BIN)/ruff check src tests man completion tools hatch_build.py
	$(BIN)/ruff format --check src tests man completion tools hatch_build.py
	$(BIN)/mypy

bench: $(VENV)/.installed-test
	$(BIN)/python -m tests.bench

# Seven buildings, four winters and three seeds, simulated twice over: what is learned and found, against its goals.
bench-learning: $(VENV)/.installed-test $(VENV)/.installed-references
	$(BIN)/python -m tests.bench.learning

# Seven buildings, a sensor that reads too high: undershoot and ice, against their goals.
bench-safety: $(VENV)/.installed-test
	$(BIN)/python -m tests.bench.safety

# The parts of the pages that are made from the program, and the pictures of the README.
docs: $(VENV)/.installed-test
	$(BIN)/python tools/make_reference.py
	$(BIN)/python tools/make_pictures.py

# In a venv of its own, so that the tests never see what this tool brings along.
mutants:
	$(MAKE) VENV=$(VENV)-mutants $(VENV)-mutants/.installed
	$(VENV)-mutants/bin/python -m pip install --quiet "$$(ls dist/overwinter-*.whl)[mutants]"
	rm -rf mutants
	$(VENV)-mutants/bin/mutmut run
	$(VENV)-mutants/bin/mutmut results

test-power: $(VENV)/.installed-test
	$(BIN)/python -m tests.rigs.power

fuzz: $(VENV)/.installed-test
	OVERWINTER_LONG=1 $(BIN)/python -m pytest tests/rigs/test_fuzz.py -s
	$(BIN)/python -m pip install --quiet "$$(ls dist/overwinter-*.whl)[fuzz]"
	$(BIN)/python -m tests.rigs.fuzz.guided -max_total_time=300

# Debian packages for it: the simulated machine, and what builds its system.
test-gpio: $(VENV)/.installed-test
	@command -v qemu-system-x86_64 >/dev/null && command -v mmdebstrap >/dev/null || \
	  { apt-get update -qq; apt-get install -y --no-install-recommends qemu-system-x86 mmdebstrap e2fsprogs xz-utils gcc make; }
	$(BIN)/python -m tests.rigs.gpio

$(VENV)/bin/python:
	@test -n "$(PYTHON)" || { echo "Python 3.11 or newer is needed" >&2; exit 1; }
	@"$(PYTHON)" -m venv $(VENV) || { rm -rf $(VENV); \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get install -y --no-install-recommends python3-venv && "$(PYTHON)" -m venv $(VENV); \
	  else echo "Python's venv module is incomplete: as root, apt-get install python3-venv" >&2; exit 1; fi; }

$(VENV)/.wheel: $(SOURCES) | $(VENV)/bin/python
	rm -rf dist
	$(BIN)/python -m pip install --quiet --no-deps "uplot-python>=1.1,<2" && $(BIN)/python -m pip install --quiet "hatchling>=1.18"
	$(BIN)/python -m pip wheel --quiet --no-deps --no-build-isolation --wheel-dir dist .
	touch $@

$(VENV)/.installed: $(VENV)/.wheel
	$(BIN)/python -m pip install --quiet dist/overwinter-*.whl
	$(BIN)/python -m pip install --quiet --no-deps --force-reinstall dist/overwinter-*.whl
	touch $@

$(VENV)/.installed-test: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet "$$(ls dist/overwinter-*.whl)[test]"
	touch $@

# The second for the weather files in it alone: what it wants beside them is not needed.
$(VENV)/.installed-references: $(VENV)/.installed-test
	$(BIN)/python -m pip install --quiet "$$(ls dist/overwinter-*.whl)[qartod,published]"
	$(BIN)/python -m pip install --quiet --no-deps diyepw==1.3.1
	touch $@

# The reasons and the other variables stand at the top of the script.
install uninstall wheels:
	@PYTHON="$(if $(filter command environment,$(origin PYTHON)),$(PYTHON))" WHEELS="$(WHEELS)" PURGE="$(PURGE)" \
	  PREFIX="$(PREFIX)" DESTDIR="$(DESTDIR)" ANYWAY="$(ANYWAY)" sh tools/install.sh $@

clean:
	rm -rf $(VENV) $(VENV)-mutants mutants build dist .coverage* .hypothesis .mypy_cache .ruff_cache .pytest_cache
