# Two commands do everything on a fresh machine with Python 3.11 or newer: `make demo` and `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN = $(VENV)/bin
DEMO ?= out/demo

.PHONY: help demo lab check test proof lint bench pictures clean

help:
	@echo "make demo      install, run the demonstration job, print its record"
	@echo "make lab       open JupyterLab on the demonstration job"
	@echo "make check     the quick tests: no browser, no killed processes"
	@echo "make test      install and run all tests, style and types included"
	@echo "make proof     check every formula and limit against outside figures; write the tables"
	@echo "make lint      style and types alone"
	@echo "make bench     print the benchmarks' ratios"
	@echo "make pictures  draw the pictures of the README again (needs Chromium)"

$(VENV)/.installed: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e ".[page]"
	@touch $@

$(VENV)/.installed-test: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e ".[test]"
	@touch $@

demo: $(VENV)/.installed
	$(BIN)/python workbook/demo.py $(DEMO)

lab: $(VENV)/.installed
	@test -d $(DEMO) || $(BIN)/python workbook/demo.py $(DEMO)
	$(BIN)/startkit open "$(DEMO)/jobs/CH-1"

# What a contributor runs before each commit: under two minutes on two cores.
check: $(VENV)/.installed-test
	$(BIN)/python -m pytest -n 2 --dist loadgroup -m "not slow and not browser"

# Three processes on two cores: the browser tests wait much of their time. In the order of the files they also come first, one group for each.
test: $(VENV)/.installed-test
	$(BIN)/python -m pytest -n 3 --dist loadgroup --no-loadscope-reorder

proof: $(VENV)/.installed-test
	$(BIN)/python workbook/proof/outside.py

lint: $(VENV)/.installed-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/vulture
	$(BIN)/deptry .

bench: $(VENV)/.installed-test
	$(BIN)/python benchmarks/all.py

pictures: $(VENV)/.installed-test
	$(BIN)/python workbook/pictures.py

clean:
	rm -rf $(VENV) out build dist *.egg-info
