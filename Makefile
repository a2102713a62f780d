# Two commands do everything on a fresh machine: make demo, and make test.
PYTHON ?= python3
BIN := .venv/bin
LOCK := $(BIN)/uv pip compile pyproject.toml --universal --python-version 3.11 \
	--generate-hashes --no-header --no-annotate --no-emit-package pip
PIP := $(BIN)/python -m pip --disable-pip-version-check

LINTER := tests/openapi_lint
NOT_SECRET := \.lock$$|package-lock\.json$$|deploy/sbom\.json$$|openapi\.json$$|\.answer\.json$$

.PHONY: help numbers numbers-record demo intervals test serve check check-code check-openapi check-deploy check-secrets \
	check-audit check-proxy format fuzz soak bench audit laws mutate openapi deploy-files accept-secrets release-contract lock clean

help:
	@echo "make demo     size the demo machine, over HTTP"
	@echo "make test     every test but the long fuzz and the proxy"
	@echo "make serve    run the service on http://127.0.0.1:8000"
	@echo "make check    format, lint, types, layers, OpenAPI, deployment files, secrets, audit, proxy"
	@echo "make fuzz     the long fuzz and the soak; FUZZ_EXAMPLES, FUZZ_SEEDS, FUZZ_SEED,"
	@echo "              FUZZ_REQUESTS and SOAK_REQUESTS say how much (tests/fuzz/amount.py)"
	@echo "make soak     the soak alone: memory, files and tasks after very many requests"
	@echo "make numbers  what changed in numbers since the recorded edition, or between EDITIONS='A B'"
	@echo "make numbers-record    record the numbers of the edition that the code states"
	@echo "make bench    benchmarks, as ratios"
	@echo "make intervals  do stated intervals hold the truth as often as they say? (minutes)"
	@echo "make laws     write tests/published/README.md from the published tests"
	@echo "make coverage  branches of physics and questions that the unit and published tests reach"
	@echo "make mutate   change physics in thousands of places and see whether a test notices; hours"
	@echo "make audit    known vulnerabilities; fails where it cannot ask for them"
	@echo "make openapi  write openapi/openapi.json and the example answers"
	@echo "make deploy-files      write the table of settings and the bill of materials"
	@echo "make accept-secrets    take what looks like a secret now as none; review the difference"
	@echo "make release-contract  take openapi/openapi.json as that of the last release"
	@echo "make lock     resolve the lock files again"

# The lock files are complete, so pip resolves nothing: some of its versions look past a pin
# for a package that is also asked for with an extra, and find the newest instead.
.venv/ready-run: requirements.lock pyproject.toml
	@echo "setting up .venv for the service and the demo"
	$(PYTHON) -m venv .venv
	$(PIP) install --progress-bar on --require-hashes --no-deps -r requirements.lock
	$(PIP) install --quiet --no-build-isolation --no-deps -e .
	@touch $@

.venv/ready-test: requirements-dev.lock .venv/ready-run
	@echo "setting up .venv for the tests"
	$(PIP) install --progress-bar on --require-hashes --no-deps -r requirements-dev.lock
	$(PIP) check
	@touch $@

demo: .venv/ready-run
	$(BIN)/python demo/sizing.py

serve: .venv/ready-run
	$(BIN)/python -m loopmargin_service.http

test: .venv/ready-test
	$(BIN)/python -m pytest -m "not long and not proxy"

# The parts need nothing of each other, so both cores work on them.
check: .venv/ready-test $(LINTER)/node_modules/.ready
	@$(MAKE) --no-print-directory --output-sync=target --jobs=2 --keep-going \
		check-code check-openapi check-secrets check-audit check-proxy check-deploy

check-code: .venv/ready-test
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

check-openapi: .venv/ready-test $(LINTER)/node_modules/.ready
	$(BIN)/python -m loopmargin_service.http.openapi --check
	$(BIN)/python $(LINTER)/breaking.py
	$(BIN)/python $(LINTER)/lint.py

check-deploy: .venv/ready-test
	$(BIN)/yamllint --strict .
	$(BIN)/hadolint deploy/Dockerfile
	$(BIN)/check-jsonschema --builtin-schema vendor.compose-spec deploy/compose*.yaml
	$(BIN)/kubernetes-validate --strict --quiet \
		$(filter-out %/kustomization.yaml,$(wildcard deploy/kubernetes/base/*.yaml deploy/kubernetes/sweeps/*.yaml))
	$(BIN)/python -m pytest -q tests/unit/test_deploy_watch.py
	$(BIN)/python deploy/settings_table.py --check
	$(BIN)/python deploy/sbom.py --check

check-secrets: .venv/ready-test
	git ls-files -z | grep -zvE '$(NOT_SECRET)' \
		| xargs -0 $(BIN)/detect-secrets-hook --no-verify --baseline .secrets.baseline

check-proxy: .venv/ready-test
	@command -v nginx >/dev/null || { echo "make check needs nginx to test its configuration" \
		"(Debian: apt-get install nginx-light)"; exit 1; }
	$(BIN)/python -m pytest -m proxy tests/faults

$(LINTER)/node_modules/.ready: $(LINTER)/package-lock.json
	@command -v npm >/dev/null || { echo "make check needs Node.js 18.18 or 20.17 or newer," \
		"with npm (Debian: apt-get install nodejs npm)"; exit 1; }
	npm ci --prefix $(LINTER)
	@touch $@

format: .venv/ready-test
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

fuzz: .venv/ready-test
	$(BIN)/python -m pytest -m long tests/fuzz tests/faults -s

soak: .venv/ready-test
	$(BIN)/python -m pytest -m long tests/fuzz/test_soak.py -s

intervals: .venv/ready-test
	$(BIN)/python -m tests.intervals

numbers: .venv/ready-test
	$(BIN)/python -m tests.editions $(EDITIONS)

numbers-record: .venv/ready-test
	$(BIN)/python -m tests.editions --record

bench: .venv/ready-test
	$(BIN)/python -m tests.performance

laws: .venv/ready-test
	$(BIN)/python -m tests.published.laws_page

coverage: .venv/ready-test
	$(BIN)/python -m pytest -q -m "not long" --cov=loopmargin_service.physics \
		--cov=loopmargin_service.questions --cov-branch --cov-report= \
		tests/published tests/unit/physics tests/unit/questions
	$(BIN)/coverage report --skip-covered --show-missing --fail-under=100 --include='*/physics/*'
	$(BIN)/coverage report --skip-covered --show-missing --fail-under=100 --include='*/questions/*'

# In a copy, where service/ is called src/: the tool finds packages there and at the top only.
# MUTANTS='loopmargin_service.physics.air.*' looks at one module.
mutate: .venv/ready-test
	rm -rf build/mutate && mkdir -p build/mutate
	git ls-files -z service sdk openapi tests pyproject.toml \
		| xargs -0 cp --parents --target-directory=build/mutate
	mv build/mutate/service build/mutate/src
	cd build/mutate && OPENBLAS_NUM_THREADS=1 nice -n 19 $(CURDIR)/$(BIN)/python -m mutmut run \
		--max-children 1 $(MUTANTS)

openapi: .venv/ready-test
	$(BIN)/python -m loopmargin_service.http.openapi

# Known vulnerabilities, asked of databases on the network. Before a release this has to pass; make
# check does the same and goes on where they cannot be reached.
audit: .venv/ready-test
	$(BIN)/python deploy/audit.py

check-audit: .venv/ready-test
	$(BIN)/python deploy/audit.py --found-only

deploy-files: .venv/ready-test
	$(BIN)/python deploy/settings_table.py
	$(BIN)/python deploy/sbom.py

accept-secrets: .venv/ready-test
	$(BIN)/detect-secrets scan --slim --no-verify --exclude-files '$(NOT_SECRET)' > .secrets.baseline

release-contract: .venv/ready-test
	$(BIN)/python $(LINTER)/breaking.py --release

lock: .venv/ready-run
	$(PIP) install --quiet uv==0.13.9
	$(LOCK) --extra service --extra demo --extra build -o requirements.lock
	$(LOCK) --all-extras -c requirements.lock -o requirements-dev.lock
	$(LOCK) --extra service --extra dask --extra tracing -c requirements-dev.lock \
		-o deploy/requirements.lock
	$(LOCK) --extra build -c requirements.lock -o deploy/requirements-build.lock

clean:
	rm -rf .venv demo/output build dist $(LINTER)/node_modules
