# What a person types.  `make` alone says what there is.
# Everything is made once: a stamp in .venv/stamps says that a step is done, and deleting .venv
# starts from nothing.

VENV    := .venv
PY      := $(VENV)/bin/python
STAMPS  := $(VENV)/stamps
KERNELS := $(shell find core -name '_kernels*.py' -o -name '_warm.py')
OUT     ?= clearturn-demo

.PHONY: help demo test test-fast app lint bench docs clean

help:
	@echo 'make demo    check the demo corner and write its clearance report into ./clearturn-demo'
	@echo 'make app     open the window'
	@echo 'make test    run all tests'
	@echo 'make lint    ruff, mypy and the import rules'
	@echo 'make bench   measure against general-purpose peers (takes long)'
	@echo 'make docs    make the pictures of the documents anew'
	@echo 'make clean   remove what was made'

# 0 clears, 1 fails, 3 not proven: all three are answers.  The demo has planted faults.
demo: $(STAMPS)/kernels
	@$(VENV)/bin/clearturn demo --out '$(OUT)'; code=$$?; \
	case $$code in 0|1|3) exit 0;; *) exit $$code;; esac

app: $(STAMPS)/window
	@.ci/system-packages window
	@$(VENV)/bin/clearturn open

test: $(STAMPS)/test $(STAMPS)/kernels
	@.ci/system-packages window test
	$(PY) -m pytest -p no:pytest-qt --ignore=tests/gui
	@.ci/window-tests

# Without the slow ones and the window's.
test-fast: $(STAMPS)/test $(STAMPS)/kernels
	$(PY) -m pytest -p no:pytest-qt --ignore=tests/gui -m 'not slow'

lint: $(STAMPS)/lint
	$(VENV)/bin/ruff check
	$(VENV)/bin/ruff format --check
	$(VENV)/bin/mypy
	$(VENV)/bin/lint-imports

bench: $(STAMPS)/bench $(STAMPS)/kernels
	@set -e; for script in tests/benchmarks/bench_*.py; do echo "== $$script"; $(PY) $$script; done

docs: $(STAMPS)/test $(STAMPS)/kernels
	@.ci/system-packages window test
	$(PY) docs/pictures/make_pictures.py
	xvfb-run --auto-servernum --server-args '-screen 0 2560x1440x24' \
	  $(PY) docs/pictures/make_window_pictures.py
	$(PY) docs/quick-start/make_quick_start.py

clean:
	rm -rf $(VENV) build dist clearturn-demo .pytest_cache .mypy_cache .ruff_cache .hypothesis \
	  .import_linter_cache
	find core app tests sample_meshes docs -name __pycache__ -prune -exec rm -rf {} +

$(STAMPS)/venv:
	@.ci/make-venv $(VENV)
	@mkdir -p $(STAMPS)
	@touch $@

$(STAMPS)/core: $(STAMPS)/venv pyproject.toml
	@echo 'Installing the library and its packages (once, a few minutes on a slow line) …'
	@$(PY) -m pip install --quiet --disable-pip-version-check -e '.[pictures]'
	@touch $@

$(STAMPS)/window: $(STAMPS)/core
	@echo 'Installing what the window needs …'
	@$(PY) -m pip install --quiet --disable-pip-version-check -e '.[window]'
	@touch $@

$(STAMPS)/test: $(STAMPS)/core
	@echo 'Installing what the tests need …'
	@$(PY) -m pip install --quiet --disable-pip-version-check -e '.[window,matrix,test]'
	@touch $@

$(STAMPS)/lint: $(STAMPS)/test
	@$(PY) -m pip install --quiet --disable-pip-version-check -e '.[window,matrix,test,lint]'
	@touch $@

$(STAMPS)/bench: $(STAMPS)/core
	@$(PY) -m pip install --quiet --disable-pip-version-check -e '.[bench]'
	@touch $@

$(STAMPS)/kernels: $(STAMPS)/core $(KERNELS)
	@echo 'Compiling the kernels (once) …'
	@$(PY) -m clearturn.warmup
	@touch $@
