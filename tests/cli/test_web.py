"""`web`: what stops it before it answers, and the password that it keeps no copy of."""

import getpass
import json
import re
import socket
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from overwinter.cli import web
from overwinter.cli.options import Stop
from overwinter.web.passwords import hashed, is_right
from tests.cli.conftest import Ran

Run = Callable[..., Ran]
EXAMPLE = Path(__file__).parents[2] / "etc" / "site.toml"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "site.toml"
    path.write_text(EXAMPLE.read_text())
    return path


def test_without_web_in_the_site_file_no_page_is_wanted(run: Run, site: Path) -> None:
    ran = run("web", "--site", str(site))

    assert (ran.code, ran.out) == (1, "")
    assert f"overwinter: {site} has no [web], so no page is wanted\n" in ran.err
    assert "127.0.0.1, port 8420" in ran.err


def test_a_site_file_that_is_missing_or_wrong_is_named(run: Run, site: Path, tmp_path: Path) -> None:
    assert "No such file" in run("web", "--site", str(tmp_path / "none.toml")).err
    site.write_text(site.read_text() + '\n[web]\nbind = "everywhere"\nport = 0\n')
    ran = run("web", "--site", str(site))

    assert ran.code == 1
    assert 'web.bind = "everywhere"' in ran.err
    assert "web.port = 0" in ran.err


def test_a_port_that_is_taken_is_named(run: Run, site: Path) -> None:
    pytest.importorskip("uvicorn", reason="uvicorn is not installed here")
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        site.write_text(site.read_text() + f"\n[web]\nport = {port}\n")
        ran = run("web", "--site", str(site))

    assert ran.code == 1
    assert f"[web] bind = '127.0.0.1', port = {port}: Address already in use" in ran.err


def test_without_its_packages_it_names_them(run: Run, site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site.write_text(site.read_text() + "\n[web]\n")
    for name in [*sys.modules]:
        if name.startswith(("overwinter.web.", "starlette", "uvicorn")):
            monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "starlette", None)

    ran = run("web", "--site", str(site))

    assert ran.code == 1
    assert "the page needs the packages starlette and uvicorn" in ran.err
    assert "pip install '.[web]'" in ran.err


def typed(monkeypatch: pytest.MonkeyPatch, *words: str) -> list[str]:
    asked: list[str] = []
    rest = iter(words)

    def ask(prompt: str) -> str:
        asked.append(prompt)
        word = next(rest, None)
        if word is None:
            raise EOFError
        return word

    monkeypatch.setattr(getpass, "getpass", ask)
    return asked


def test_a_new_password_is_asked_for_twice_and_only_its_hash_is_printed(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = typed(monkeypatch, "a long winter night", "a long winter night")

    ran = run("web", "--new-password")

    assert ran.code == 0
    assert len(asked) == 2
    assert is_right("a long winter night", ran.out.strip())
    assert "a long winter night" not in ran.out + ran.err
    assert "LoadCredential=web-password:/etc/overwinter/web-password\n" in ran.err
    assert "SupplementaryGroups=overwinter\n" in ran.err


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("a long winter night", "a long winter day"), "two different passwords"),
        (("short", "short"), "the password has 5 characters; allowed: 8 to 200"),
        ((), "no password was typed"),
    ],
)
def test_what_makes_no_password_makes_no_line(
    run: Run, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], why: str
) -> None:
    typed(monkeypatch, *words)

    ran = run("web", "--new-password")

    assert (ran.code, ran.out) == (1, "")
    assert why in ran.err


def test_the_credential_is_the_line_or_none_and_a_spoilt_one_is_told(tmp_path: Path) -> None:
    path = tmp_path / web.CREDENTIAL

    assert web._password(None) is None
    assert web._password(str(tmp_path)) is None
    line = hashed("a long winter night")
    path.write_text(line + "\n")
    assert web._password(str(tmp_path)) == line
    path.write_text("a long winter night\n")
    with pytest.raises(Stop, match="no line that") as refused:
        web._password(str(tmp_path))
    assert "a long winter night" not in str(refused.value.lines)
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(Stop, match="cannot be read"):
        web._password(str(tmp_path))


def test_the_drop_in_is_that_of_the_unit() -> None:
    """What the help, the unit's comment and the printed lines say is one thing."""
    unit = (EXAMPLE.parents[1] / "systemd" / "overwinter-web.service").read_text()
    for line in web.DROP_IN.splitlines()[1:]:
        assert line in unit
    assert re.search(r"(?m)^ExecStart=/usr/local/bin/overwinter web ", unit)


def test_a_week_of_samples_at_most_comes_through_the_guard(tmp_path: Path) -> None:
    from overwinter.wire.methods import MAX_RECORDS

    assert web.THROUGH_GUARD_AT_MOST == MAX_RECORDS


def test_help_is_there(run: Run) -> None:
    ran = run("web", "--help")

    assert ran.code == 0
    assert "--new-password" in ran.out
    assert json.dumps(ran.err) == '""'
