"""How long the command takes, as a multiple of a bare Python that starts and ends."""

import os
import subprocess
import sys
import time
from pathlib import Path

COMMAND = "import sys; from overwinter.cli import main; sys.exit(main())"


def times_bare(*argv: str, compiled: Path, rounds: int) -> float:
    """The least of some rounds over that of a bare Python, taken in turns: what else runs only ever adds."""
    surroundings = {**os.environ, "PYTHONPYCACHEPREFIX": str(compiled)}
    surroundings.pop("PYTHONDONTWRITEBYTECODE", None)

    def once_s(*command: str) -> float:
        began_s = time.perf_counter()
        subprocess.run(
            [sys.executable, "-c", *command],
            env=surroundings,
            stdout=subprocess.DEVNULL,
            check=True,
            timeout=60,
        )
        return time.perf_counter() - began_s

    once_s(COMMAND, *argv)  # writes the compiled files
    bare_s, command_s = [], []
    for _ in range(rounds):
        bare_s.append(once_s("pass"))
        command_s.append(once_s(COMMAND, *argv))
    print(f"bare {min(bare_s):.3f} s, {argv[0]} {min(command_s):.3f} s")
    return min(command_s) / min(bare_s)
