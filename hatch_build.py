"""Puts uPlot, which draws the charts, into the wheel: taken from the package `uplot-python` at build time.

Only its script and its style sheet are taken (both MIT, by uPlot's author); that package's own code, and what
it depends on, are neither used nor shipped. The files land in `src/overwinter/show/assets/`, which git
ignores, so that an editable install and a run from the source tree find them where an installed copy does.
`python hatch_build.py` does it by itself.
"""

from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from typing import Any

try:
    from hatchling.builders.hooks.plugin.interface import BuildHookInterface
except ImportError:  # called by hand
    BuildHookInterface = object

ROOT = Path(__file__).parent
ASSETS = ROOT / "src" / "overwinter" / "show" / "assets"
PACKAGE = "uplot-python"  # 1.1 and later hold uPlot 1.6
TAKEN = ("uPlot.iife.js", "uPlot.min.css")


def take_assets() -> None:
    """Copy what is not there yet, or another version."""
    try:
        files = {file.name: file for file in distribution(PACKAGE).files or ()}
    except PackageNotFoundError:
        raise SystemExit(f"{PACKAGE} is needed to build: pip install --no-deps '{PACKAGE}>=1.1,<2'") from None
    texts = {name: files[name].read_text("utf-8") for name in TAKEN if name in files}
    missing = [name for name in TAKEN if name not in texts]
    if missing:
        raise SystemExit(f"{PACKAGE} has no {', '.join(missing)} any more: 1.1 has them")
    texts["uPlot.LICENSE.txt"] = licence(texts[TAKEN[0]])
    ASSETS.mkdir(exist_ok=True)
    for name, text in texts.items():
        path = ASSETS / name
        if not path.exists() or path.read_text("utf-8") != text:
            path.write_text(text, "utf-8")


def licence(script: str) -> str:
    """uPlot's own notice, from the head of its script, and the MIT licence, which is ours as well."""
    head = script.partition("*/")[0]
    if "Leon Sorokin" not in head or "MIT" not in head:
        raise SystemExit(f"{PACKAGE}: the head of {TAKEN[0]} does not say author and licence any more")
    notice = "\n".join(line.strip("/* \t") for line in head.splitlines()).strip()
    _, found, permission = (ROOT / "LICENSE").read_text("utf-8").partition("Permission is hereby granted")
    assert found, "LICENSE is the MIT licence"
    return f"{notice}\n\n{found}{permission}"


class CustomBuildHook(BuildHookInterface):  # type: ignore[misc, valid-type]
    """What hatchling calls before it collects the files."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:  # noqa: ARG002
        """Before the build."""
        take_assets()


if __name__ == "__main__":
    take_assets()
