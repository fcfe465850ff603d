"""Makes docs/pictures, a chart and a terminal session: `python tools/make_pictures.py [FOLDER]`.

Both are the program's own. Two days are lived through by `overwinter rehearse`, always the same ones:
docs/pictures/cold-night.toml with the seed below. Everything in them is simulated.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
PICTURES = ROOT / "docs/pictures"
SCENARIO = "cold-night.toml"
SEED = 8
NIGHT = ("--since", "'2026-01-13 18:00'", "--until", "'2026-01-14 12:00'")

SESSION = (
    f"overwinter rehearse {SCENARIO} --seed {SEED} --keep cold-night",
    "overwinter events --logs cold-night/logs --since '2026-01-14 01:00' --until '2026-01-14 08:00'",
    f"overwinter chart --logs cold-night/logs {' '.join(NIGHT)}",
)
PICTURE = "overwinter chart --logs cold-night/logs --since 2026-01-13 --until 2026-01-15 -o cold-night.svg"


def main(folder: Path) -> None:
    """Both, into `folder`."""
    with tempfile.TemporaryDirectory(prefix="overwinter-pictures-") as place:
        here = Path(place)
        (here / SCENARIO).write_bytes((PICTURES / SCENARIO).read_bytes())
        session = [f"$ {command}\n{typed(command, here)}" for command in SESSION]
        typed(PICTURE, here)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "session.txt").write_text("\n".join(session), encoding="utf-8")
        (folder / "cold-night.svg").write_bytes((here / "cold-night.svg").read_bytes())


def typed(command: str, here: Path) -> str:
    """What a terminal shows of it."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("OVERWINTER_")}
    environment |= {"TZ": "UTC", "COLUMNS": "80", "LINES": "24", "HOME": str(here), "LC_ALL": "C.UTF-8"}
    environment["PYTHONPATH"] = os.pathsep.join(sys.path)  # the program that this Python sees
    environment |= {
        name: str(here / name) for name in ("XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_RUNTIME_DIR")
    }
    done = subprocess.run(
        ["sh", "-c", command.replace("overwinter ", f"'{sys.executable}' -m overwinter ", 1)],
        cwd=here,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        sys.exit(f"{command}\n{done.stdout}")
    return done.stdout


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES)
