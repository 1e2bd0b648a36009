"""Nobody who opens a page waits for the sampler, and a page is a short script."""

import subprocess
import sys
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / "dashboards"
# Run by the server, not imported by a page.
SCRIPTS = ("app", "asgi")


def test_no_page_loads_the_sampler() -> None:
    modules = [path.stem for path in sorted(FOLDER.glob("*.py")) if path.stem not in (*SCRIPTS, "__init__")]
    code = "".join(f"import dashboards.{name}\n" for name in modules)
    code += "import sys; print([name for name in ('pymc', 'arviz', 'nutpie', 'pytensor') if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120)
    assert done.stdout.strip() == "[]"
    assert len(modules) > 40


def test_a_page_is_a_short_script() -> None:
    assert all(len(path.read_text(encoding="utf-8").splitlines()) < 80 for path in (FOLDER / "sheets").glob("*.py"))
