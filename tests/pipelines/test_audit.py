"""The audit of the locked packages: an advisory stops CI, and an audit that asked nobody does not pass for one."""

import os
import runpy
import subprocess
import sys
from pathlib import Path

SCRIPT = Path(__file__).resolve().parents[2] / "scripts" / "audit"
# Entries as pip-audit 2.10 writes them with --format json.
SOUND = {"name": "sound", "version": "1.0", "vulns": []}
HURT = {"name": "hurt", "version": "2.0", "vulns": [{"id": "PYSEC-0000-1", "fix_versions": ["2.1"], "aliases": []}]}
UNKNOWN = {"name": "unknown", "skip_reason": "Dependency not found and could not be audited"}


def test_an_advisory_fails_and_says_what_mends_it() -> None:
    code, told = runpy.run_path(str(SCRIPT))["say"]([SOUND, HURT, UNKNOWN])
    assert code == 1
    assert told == [
        "Packages audited: 2; advisories known: 1.",
        "Nothing could be learnt about 1: unknown.",
        "  hurt 2.0: PYSEC-0000-1, mended in 2.1.",
    ]


def test_packages_that_all_were_skipped_are_not_called_sound() -> None:
    code, told = runpy.run_path(str(SCRIPT))["say"]([UNKNOWN, UNKNOWN])
    assert code == 0
    assert "NO package was audited" in told[0]


def test_without_a_network_it_says_so_and_does_not_fail() -> None:
    # a port of this machine where nobody listens stands for the missing network
    nowhere = dict.fromkeys(("HTTPS_PROXY", "HTTP_PROXY", "https_proxy", "http_proxy"), "http://127.0.0.1:9")
    environment = {**os.environ, **nowhere, "NO_PROXY": "", "no_proxy": ""}
    told = subprocess.run(
        [sys.executable, str(SCRIPT)], capture_output=True, text=True, env=environment, timeout=120, check=False
    )
    assert told.returncode == 0, told.stderr
    assert "Advisories could not be reached" in told.stdout
