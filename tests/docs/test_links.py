"""Links lead somewhere, pictures have words for who does not see them, names are the program's own."""

import re
import runpy
from pathlib import Path

import pytest

from overwinter.cli import VERBS
from overwinter.core.nouns import Code, Health, Reason
from overwinter.rehearse.file import shipped
from overwinter.rehearse.nouns import FAULTS
from overwinter.schemas import load
from overwinter.settings.schema import BY_KEY, TABLES
from overwinter.wire import methods
from tests.docs.pages import LINK, PAGES, ROOT, anchors, prose, spans

EACH = [pytest.param(page, id=page.name) for page in PAGES]
SOURCE = "\n".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "src").rglob("*.py")))

# Words with a dash in code type that are no code of the program: credentials, units, parts of commands.
OTHER_WORDS = {
    *("no-guard", "mqtt-password", "web-password", "sensors-away", "sensors-back", "lost-lines"),
    *("overwinter-web", "overwinter-notifier", "cold-night"),
}

DEFINES = {"fault-coverage.md"}
"""Pages whose table gives names of its own to what breaks."""
SLIPS = {"band.lwo"}
"""Names that are wrong on purpose: a page tells what becomes of them."""


@pytest.mark.parametrize("page", EACH)
def test_every_link_leads_to_a_file_and_a_heading(page: Path) -> None:
    broken = []
    for target in LINK.findall(prose(page)):
        if re.match(r"https?://", target):
            continue
        name, _, heading = target.partition("#")
        file = (page.parent / name).resolve() if name else page
        if not file.exists() or (heading and heading not in anchors(file)):
            broken.append(target)

    assert broken == []


@pytest.mark.parametrize("page", EACH)
def test_every_path_of_the_source_that_is_named_exists(page: Path) -> None:
    named = [span for span in spans(page) if re.match(r"(?:src|tests|tools|docs|man)/[\w./-]+$", span)]

    assert [name for name in named if not (ROOT / name).exists()] == []


@pytest.mark.parametrize("page", EACH)
def test_every_picture_has_words(page: Path) -> None:
    wordless = [alt for alt, _ in re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", prose(page)) if len(alt) < 40]

    assert wordless == []


@pytest.mark.parametrize("page", EACH)
def test_every_page_is_in_the_index(page: Path) -> None:
    index = ROOT / "docs/README.md"
    if page in {index, ROOT / "README.md"}:
        pytest.skip("is an index itself")

    assert re.search(rf"\((\.\./)?{re.escape(page.name)}\)", index.read_text(encoding="utf-8"))


@pytest.mark.parametrize("page", EACH)
def test_every_setting_that_is_named_exists(page: Path) -> None:
    keys = runpy.run_path(str(ROOT / "man/pages.py"))["site_keys"]((ROOT / "etc/site.toml").read_text())
    known = set(BY_KEY) | {f"{table.strip('[]')}.{key}" for table, of in keys.items() for key in of}
    named = {
        found
        for span in spans(page)
        for found in re.findall(rf"\b(?:{'|'.join(TABLES)}|heater|notices)\.[a-z_]+\b", span)
    }

    assert {name for name in named - known - SLIPS if not name.endswith((".toml", ".json"))} == set()


@pytest.mark.parametrize("page", EACH)
def test_every_code_that_is_named_is_the_programs(page: Path) -> None:
    known = {code.value for kind in (Code, Reason, Health) for code in kind}
    known |= {*VERBS, *shipped(), *FAULTS, *methods.READS, *methods.CHANGES, *OTHER_WORDS}
    if page.name in DEFINES:
        known |= set(re.findall(r"^\| `([a-z-]+)` \|", page.read_text(encoding="utf-8"), re.MULTILINE))
    named = {span for span in spans(page) if re.fullmatch(r"[a-z]+(-[a-zA-Z]+)+", span)}

    assert named - known == set()


def test_every_metric_that_is_named_exists() -> None:
    many = "\n".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "docs").rglob("*.*[dl]")))
    named = set(re.findall(r"\boverwinter_[a-z_]+[a-z]\b", many))

    assert {"overwinter_blind", "overwinter_up"} <= named
    assert {name for name in named if f'"{name}' not in SOURCE} == set()


@pytest.mark.parametrize("page", EACH)
def test_every_variable_that_is_named_is_read_or_written_somewhere(page: Path) -> None:
    named = {span for span in spans(page) if re.fullmatch(r"[A-Z]+(_[A-Z]+)+", span)}
    ours = {f"OVERWINTER_{what}" for what in ("SITE", "STATE", "LOGS", "SOCKET")}
    told = {f"NOTICE_{key.upper()}" for key in load("notice")["properties"]}
    others = {name for name in named if not name.startswith(("OVERWINTER_", "NOTICE_")) and name in SOURCE}

    assert named - ours - told - others - {"NOTICE_TITLE"} == set()
