"""Promises about the tree itself."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SOURCES = [path for folder in ("analytics", "pipelines", "dashboards") for path in (ROOT / folder).rglob("*.py")]


def test_the_lock_holds_no_address() -> None:
    assert "://" not in (ROOT / "requirements.lock").read_text()


def test_one_module_imports_duckdb() -> None:
    users = {path.name for path in SOURCES if re.search(r"^\s*(import|from) duckdb", path.read_text(), re.M)}
    assert users == {"store.py"}


def test_one_module_uses_the_caches_of_streamlit() -> None:
    users = {path.name for path in SOURCES if "st.cache_" in path.read_text()}
    assert users <= {"data.py"}


def test_every_package_front_is_empty() -> None:
    fronts = [path for path in SOURCES if path.name == "__init__.py"]
    assert [path for path in fronts if path.read_text().strip()] == []


def test_every_query_file_says_what_it_returns() -> None:
    queries = list((ROOT / "pipelines" / "sql").rglob("*.sql"))
    assert [path.name for path in queries if not path.read_text().startswith("-- ")] == []


@pytest.mark.parametrize("verb", ["--help", "suspects --help", "serve --help"])
def test_help_does_not_wait_for_the_sampler(verb: str) -> None:
    code = f"import sys; from pipelines.cli import faultodds as f; f.main({verb.split()!r}, standalone_mode=False)"
    told = subprocess.run(
        [sys.executable, "-c", f"{code}; print('pymc' in sys.modules)"], capture_output=True, text=True, check=True
    )
    assert told.stdout.rstrip().endswith("False")
