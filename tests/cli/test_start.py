"""How fast the command starts: it runs often, on a small board."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.conftest import FakeGuard

HEAVY = frozenset(
    {
        *(
            "argparse",
            "asyncio",
            "dataclasses",
            "datetime",
            "difflib",
            "csv",
            "inspect",
            "logging",
            "pathlib",
        ),
        *("typing", "gpiozero", "platformdirs", "structlog", "tomlkit", "overwinter.core.nouns"),
    }
)
AT_MOST = 3.0
"""Times a bare Python; 2.4 was measured, of which json and socket alone make 2.0."""


def imported(command: str, *argv: str) -> set[str]:
    """The modules that a fresh interpreter holds after `command`."""
    tell = "; print(*sys.modules, file=sys.stderr)"
    ran = subprocess.run(
        [sys.executable, "-c", f"import sys; {command}{tell}", *argv],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return set(ran.stderr.split())


def test_status_imports_nothing_heavy(guard: FakeGuard) -> None:
    command = "from overwinter.cli import main; main()"

    ours = imported(command, "status", "--socket", str(guard.path)) - imported("pass")

    assert {name for name in ours if name.startswith("overwinter.cli.")} == {
        f"overwinter.cli.{name}" for name in ("ask", "options", "places", "status")
    }
    assert ours & HEAVY == set()


@pytest.mark.skipif(
    sys.flags.dev_mode or "coverage" in sys.modules, reason="measured without instruments only"
)
def test_status_takes_at_most_three_times_a_bare_python(guard: FakeGuard, tmp_path: Path) -> None:
    surroundings = {**os.environ, "PYTHONPYCACHEPREFIX": str(tmp_path / "pyc")}
    surroundings.pop("PYTHONDONTWRITEBYTECODE", None)
    command = "import sys; from overwinter.cli import main; sys.exit(main())"

    def once_s(*argv: str) -> float:
        began_s = time.perf_counter()
        subprocess.run(
            [sys.executable, "-c", *argv],
            env=surroundings,
            stdout=subprocess.DEVNULL,
            check=True,
            timeout=60,
        )
        return time.perf_counter() - began_s

    once_s(command, "status", "--socket", str(guard.path))  # writes the compiled files
    # The least of many, taken in turns: whatever else runs here only ever adds.
    bare_s, status_s = [], []
    for _ in range(25):
        bare_s.append(once_s("pass"))
        status_s.append(once_s(command, "status", "--socket", str(guard.path)))

    assert min(status_s) <= AT_MOST * min(bare_s)
