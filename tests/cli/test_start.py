"""How fast the command starts: it runs often, on a small board."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import FakeGuard
from tests.cli.stopwatch import times_bare

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
    took = times_bare("status", "--socket", str(guard.path), compiled=tmp_path / "pyc", rounds=25)

    assert took <= AT_MOST
