"""The man pages say what the program says, and roff has nothing to complain about."""

import re
import runpy
import shutil
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from overwinter.cli import VERBS
from overwinter.cli.options import PLACES, dashed
from overwinter.settings import fields
from overwinter.settings.schema import ROWS
from overwinter.settings.site import parse_site
from overwinter.show.text import NOT_ISOLATED
from overwinter.wire.methods import CHANGES, READS
from tests.install.machine import ROOT

EXAMPLE = ROOT / "etc/site.toml"
PAGES = ("overwinter.1", "overwinter-settings.toml.5", "overwinter-site.toml.5", "overwinter.8")


@pytest.fixture(scope="module")
def man(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("man")
    subprocess.run([sys.executable, str(ROOT / "man/pages.py"), str(folder)], check=True)
    return folder


def page(man: Path, name: str) -> Path:
    return man / f"man{name[-1]}" / name


def plain(path: Path) -> str:
    """The text of a page, without what only roff reads, in one line."""
    text = re.sub(r"(?m)^\.[A-Za-z].*|\\f[BR]|\\&", "", path.read_text())
    for roff, letter in (
        (r"\-", "-"),
        (r"\(aq", "'"),
        (r"\(ti", "~"),
        (r"\(ha", "^"),
        (r"\(ga", "`"),
        (r"\e", "\\"),
    ):
        text = text.replace(roff, letter)
    return " ".join(text.split())


@pytest.mark.parametrize("name", PAGES)
def test_roff_renders_a_page_without_a_warning(man: Path, name: str) -> None:
    if shutil.which("groff") is None:
        pytest.skip("groff is not installed: only what is in the pages is tested")
    asked = ["groff", "-man", "-Tutf8", "-ww", str(page(man, name))]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    if "can't find macro file" in done.stderr or "can't open" in done.stderr:
        pytest.skip("only a part of groff is installed: only what is in the pages is tested")
    assert (done.returncode, done.stderr) == (0, "")
    shown = re.sub(".\b", "", done.stdout).replace("\N{HYPHEN}", "-")
    assert f"NAME\n       {name.rpartition('.')[0]} - " in shown


@pytest.mark.parametrize("name", PAGES)
def test_a_page_has_what_whatis_and_a_reader_look_for(man: Path, name: str) -> None:
    text = page(man, name).read_text()
    title, section = name.rpartition(".")[0], name[-1]
    assert text.isascii()
    assert re.search(rf"(?m)^\.TH {re.escape(title)} {section} ", text)
    assert "\n.SH NAME\n" + title.replace("-", r"\-") + r" \- " in text
    heads = re.findall(r"(?m)^\.SH (.*)", text)
    assert heads[0] == "NAME"
    assert heads[-1] == "SEE ALSO"
    assert len(heads) == len(set(heads))


@pytest.mark.parametrize("verb", VERBS)
def test_the_page_of_the_command_has_each_verb_with_its_options_and_examples(man: Path, verb: str) -> None:
    text = plain(page(man, "overwinter.1"))
    known = import_module(f"overwinter.cli.{verb.replace('-', '_')}").VERB
    assert known.line() in text
    for option, (_, about) in known.options.items():
        assert f"{dashed(option)} " in text
        assert " ".join(about.split()) in text
    for example in known.examples:
        assert " ".join(example.split()) in text
    assert " ".join(known.about.split()) in text


def test_the_page_of_the_command_names_every_place(man: Path) -> None:
    text = plain(page(man, "overwinter.1"))
    assert [name for name in PLACES if dashed(name) not in text] == []


def test_the_page_of_the_settings_has_each_key_with_its_range(man: Path) -> None:
    text = plain(page(man, "overwinter-settings.toml.5"))
    for row in ROWS:
        assert f"{row.key} {row.about}. Default" in text
    assert "-40..100 F (-40..37.78 C)" in text  # band.low
    assert "1..31, odd" in text  # filter.window
    assert "Default 36 F; allowed" in text
    assert "Default freeze; allowed freeze, warm or observe" in text


def test_the_page_of_site_toml_has_every_key_that_the_parser_knows(
    man: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked of the parser: what it looks for in the example, all tables there. Units of a length count as
    one key."""
    asked: dict[str, set[str]] = {}
    finish = fields.Table.finish

    def noting(table: fields.Table) -> None:
        asked.setdefault(re.sub(r"\[\d+\]", "", table.path), set()).update(table.asked)
        finish(table)

    monkeypatch.setattr(fields.Table, "finish", noting)
    whole = re.sub(r"(?m)^# (\[[a-z]+\]|[a-z_]+ = )", r"\1", EXAMPLE.read_text())
    parse_site(whole)
    described = keys()
    assert asked.keys() >= {"relay", "notices", "mqtt", "web", "building.part", "pipe", "circuit"}
    for table, known in asked.items():
        if table in ("", "building.part.layers"):
            continue
        there = {stem(key) for key in described[table]}
        assert {stem(key) for key in known} - there - MENTIONED == set(), table
        assert there <= {stem(key) for key in known}, table
    assert "Allowed: a whole number, 0..27." in plain(page(man, "overwinter-site.toml.5"))


MENTIONED = {"part", "layers", "r_m2k_w", "r_us", "u_w_m2k", "cord", "heartbeat_command", "password"}
"""Tables of their own, or the other way of saying what is there; the example's remarks name them."""


def keys() -> dict[str, dict[str, tuple[str, str]]]:
    found = runpy.run_path(str(ROOT / "man/pages.py"))["site_keys"](EXAMPLE.read_text())
    return {table.strip("[]"): rows for table, rows in found.items()}


def stem(key: str) -> str:
    return re.sub(r"_(m|mm|ft|in|m2|ft2|m3|ft3|awg|mm2)$", "", key)


def test_every_key_of_the_example_comes_with_what_is_allowed(man: Path) -> None:
    assert [
        f"{table}.{key}" for table, rows in keys().items() for key, (_, says) in rows.items() if not says
    ] == []


def test_the_page_of_the_service_names_files_methods_and_the_caution(man: Path) -> None:
    text = plain(page(man, "overwinter.8"))
    assert NOT_ISOLATED in text
    assert [method for method in (*READS, *CHANGES) if method not in text] == []
    units = {path.name for path in (ROOT / "systemd").iterdir() if path.suffix in {".service", ".socket"}}
    assert "overwinter.service" in units
    named = {name.replace("@", "@NAME") for name in units - {"overwinter@.socket"}}
    assert [name for name in named if f"{name} " not in text] == []
    unit = (ROOT / "systemd/overwinter.service").read_text()
    assert "man:overwinter(8)" in unit
    for kind, folder in (("Configuration", "/etc"), ("State", "/var/lib"), ("Logs", "/var/log")):
        assert f"{kind}Directory=overwinter\n" in unit
        assert f"{folder}/overwinter/" in text
    assert "WatchdogSec=30" in unit
    assert "within 30 seconds if it hangs" in text
