# Everything starts from a fresh clone: the environment is made when it is missing.
.PHONY: demo test check fast slow browser app audit clean

PY := .venv/bin/python

demo:
	@scripts/bootstrap
	@.venv/bin/faultodds demo

test:
	@scripts/bootstrap
	@scripts/browser
	@$(MAKE) --no-print-directory check
	@$(PY) -m pytest -n 2 -m "not slow and not browser"
	@$(PY) -m pytest -m "slow or browser"
	@if [ -n "$$CI" ]; then $(PY) scripts/audit; fi

# One question a package to the registry: asked in CI (where CI is set), and by hand, not on every run of the tests.
audit:
	@scripts/bootstrap
	@$(PY) scripts/audit

check:
	@scripts/bootstrap
	@.venv/bin/ruff check -q .
	@.venv/bin/ruff format -q --check .
	@.venv/bin/mypy
	@.venv/bin/lint-imports

fast:
	@scripts/bootstrap
	@$(PY) -m pytest -n 2 -m "not slow and not browser"

slow:
	@scripts/bootstrap
	@$(PY) -m pytest -m slow

browser:
	@scripts/bootstrap
	@scripts/browser
	@$(PY) -m pytest -m browser

app:
	@scripts/bootstrap
	@.venv/bin/faultodds serve

clean:
	@rm -rf .venv .mypy_cache .ruff_cache .pytest_cache .hypothesis
