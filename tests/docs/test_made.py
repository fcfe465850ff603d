"""The made parts of the pages say what the program says, and the pictures are the program's own."""

import runpy
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.docs.pages import PAGES, ROOT
from tests.docs.test_commands import missing

AGAIN = "make it anew: python tools/make_reference.py"
TOOL = runpy.run_path(str(ROOT / "tools/make_reference.py"))
WITH_PARTS = [page for page in PAGES if "<!-- made: " in page.read_text(encoding="utf-8")]


@pytest.mark.parametrize("page", [pytest.param(page, id=page.name) for page in WITH_PARTS])
def test_a_page_says_what_the_program_says(page: Path) -> None:
    text = page.read_text(encoding="utf-8")

    assert TOOL["made"](text) == text, AGAIN


def test_a_stale_part_is_found_and_the_rest_is_left_alone() -> None:
    stale = "before\n<!-- made: flags -->\nold\n<!-- end of flags -->\nafter\n"

    fresh = TOOL["made"](stale)

    assert fresh.startswith("before\n<!-- made: flags -->\n")
    assert "| `1` | good |" in fresh
    assert "old" not in fresh
    assert fresh.endswith("<!-- end of flags -->\nafter\n")


def test_every_part_stands_on_some_page() -> None:
    pages = "\n".join(page.read_text(encoding="utf-8") for page in WITH_PARTS)

    assert [part for part in TOOL["PARTS"] if f"<!-- made: {part} -->" not in pages] == []


def test_pictures_are_what_the_program_makes(tmp_path: Path) -> None:
    """The words of the session and of the picture; lines and figures may differ in a last digit."""
    subprocess.run([sys.executable, str(ROOT / "tools/make_pictures.py"), str(tmp_path)], check=True)

    for name in ("session.txt", "cold-night.svg"):
        kept, made = (folder / name for folder in (ROOT / "docs/pictures", tmp_path))
        lacking = missing(words(kept), "\n".join(words(made)))
        assert lacking is None, f"{name}: {lacking!r}; make it anew: python tools/make_pictures.py"


def words(path: Path) -> list[str]:
    """What can be read in a picture or a text."""
    if path.suffix != ".svg":
        return path.read_text(encoding="utf-8").splitlines()
    return [text for one in ET.parse(path).iter() if (text := (one.text or "").strip())]
