# Two commands do everything on a fresh machine: make demo, and make test.
PYTHON ?= python3
BIN := .venv/bin
LOCK := $(BIN)/uv pip compile pyproject.toml --universal --python-version 3.11 \
	--generate-hashes --no-header --no-annotate
PIP := $(BIN)/python -m pip --disable-pip-version-check

.PHONY: help demo test serve check format fuzz bench openapi lock clean

help:
	@echo "make demo     answer the four questions for the demo machine, over HTTP"
	@echo "make test     every test but the long fuzz"
	@echo "make serve    run the service on http://127.0.0.1:8000"
	@echo "make check    format, lint, types, layers, OpenAPI drift"
	@echo "make fuzz     the long fuzz"
	@echo "make bench    benchmarks, as ratios"
	@echo "make openapi  write openapi/openapi.json and the example answers"
	@echo "make lock     resolve the lock files again"

.venv/ready-run: requirements.lock pyproject.toml
	@echo "setting up .venv for the service and the demo"
	$(PYTHON) -m venv .venv
	$(PIP) install --progress-bar on --require-hashes -r requirements.lock
	$(PIP) install --quiet --no-build-isolation --no-deps -e .
	@touch $@

.venv/ready-test: requirements-dev.lock .venv/ready-run
	@echo "setting up .venv for the tests"
	$(PIP) install --progress-bar on --require-hashes -r requirements-dev.lock
	@touch $@

demo: .venv/ready-run
	$(BIN)/python demo/sizing.py

serve: .venv/ready-run
	$(BIN)/python -m loopmargin_service.http

test: .venv/ready-test
	$(BIN)/python -m pytest -m "not long"

check: .venv/ready-test
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python -m loopmargin_service.http.openapi --check

format: .venv/ready-test
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

fuzz: .venv/ready-test
	$(BIN)/python -m pytest -m long tests/fuzz -s

bench: .venv/ready-test
	$(BIN)/python -m tests.performance

openapi: .venv/ready-test
	$(BIN)/python -m loopmargin_service.http.openapi

lock: .venv/ready-run
	$(PIP) install --quiet uv==0.13.9
	$(LOCK) --extra service --extra demo --extra build -o requirements.lock
	$(LOCK) --all-extras -c requirements.lock -o requirements-dev.lock

clean:
	rm -rf .venv demo/output build dist
