# Two commands do everything on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEMO := var/demo.sqlite
PORT ?= 8050

export PYTHONDONTWRITEBYTECODE :=
TOGETHER := --no-print-directory -j2 $(if $(filter output-sync,$(.FEATURES)),--output-sync=target)

.PHONY: demo test check checked suite browser journeys install install-test serve clean bench system-packages

demo: install $(DEMO)
	@$(BIN)/slabbook --ledger $(DEMO) week --table flavours
	@$(BIN)/slabbook --ledger $(DEMO) serve --port $(PORT)

$(DEMO): | install
	@mkdir -p var
	@$(BIN)/slabbook --ledger $(DEMO) demo

install: .make/install
.make/install: pyproject.toml
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@$(BIN)/pip install --quiet --disable-pip-version-check -e ".[days,labels,interchange]" --config-settings editable_mode=compat
	@mkdir -p .make && touch $@

# Compiling all of 1.4 GB of packages took as long as installing them; what is used compiles itself the first time.
install-test: .make/install-test
.make/install-test: pyproject.toml
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@$(BIN)/pip install --quiet --disable-pip-version-check --no-compile -e ".[days,labels,interchange,test]" --config-settings editable_mode=compat
	@mkdir -p .make && touch $@ .make/install

# What tests need beside Python packages: a PostgreSQL server and a browser, from Debian. Tests say so and skip where they are missing.
system-packages:
	@if command -v apt-get >/dev/null && [ "$$(id -u)" = 0 ]; then \
	  (ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 && test -x /usr/bin/chromium) || \
	  (apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq postgresql chromium fonts-dejavu-core >/dev/null); \
	else echo "PostgreSQL and Chromium are used if installed; their tests skip otherwise."; fi

# Two at a time where one alone would leave a core idle: the system's packages and Python's, then the checks and the suite. The browsers come last,
# two of them: they wait for real pages, and beside the type checker a slow machine once took too long for one.
test:
	@$(MAKE) $(TOGETHER) system-packages install-test
	@$(MAKE) --no-print-directory -j2 checked suite
	@$(MAKE) --no-print-directory browser

checked: install-test
	@scripts/check

browser: install-test
	@$(BIN)/pytest -n 2 --dist loadfile -m "not long" tests/browser

# Two journeys of a minute or two each: a plan that would take hours is stopped, a plan lives for weeks. What they walk is tested without a browser too.
journeys: install-test
	@$(BIN)/pytest -m long tests/browser

# A module's tests stay together; the slow modules, which tests/conftest.py puts first, start first.
suite: install-test
	@$(BIN)/pytest -n 2 --dist loadscope --no-loadscope-reorder -m "not browser"

check: install-test
	@scripts/check

serve: install
	@$(BIN)/slabbook --ledger $(DEMO) serve --port $(PORT)

bench: install-test
	@for b in append week rebuild bulk pages sheet forecast planning season trace; do test -f benchmarks/$$b.py && $(BIN)/python benchmarks/$$b.py; done

clean:
	rm -rf $(VENV) .make var build dist *.egg-info
