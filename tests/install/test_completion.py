"""Completion offers what the program knows: made from its tables, parsed by the shells, asked of bash."""

import shutil
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from overwinter.cli import VERBS
from overwinter.cli.options import PLACES, dashed
from overwinter.settings.schema import ROWS
from overwinter.show.text import MODES
from tests.install.machine import ROOT

SHELLS = ("bash", "zsh", "fish")


@pytest.fixture(scope="module", params=SHELLS)
def script(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("completion") / str(request.param)
    path.write_text(made(request.param))
    return path


def made(shell: str) -> str:
    command = [sys.executable, str(ROOT / "completion/scripts.py"), shell]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


@pytest.fixture(scope="module")
def bash_script(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bash") / "overwinter"
    path.write_text(made("bash"))
    return path


def offered(bash_script: Path, *words: str) -> set[str]:
    """What bash offers for the last of `words`, asked through the function that it registered."""
    program = """
        source "$1"; shift
        COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1))
        function=$(complete -p overwinter | sed 's/.*-F \\([^ ]*\\).*/\\1/')
        "$function" overwinter "${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[COMP_CWORD - 1]}"
        printf '%s\\n' "${COMPREPLY[@]}"
    """
    asked = ["bash", "--norc", "-c", program, "bash", str(bash_script), *words]
    done = subprocess.run(asked, capture_output=True, text=True, check=True, cwd=bash_script.parent)
    assert done.stderr == ""
    return set(done.stdout.split())


def test_the_shell_parses_it(script: Path) -> None:
    shell = script.name
    if shutil.which(shell) is None:
        pytest.skip(f"{shell} is not installed")
    done = subprocess.run([shell, "-n", str(script)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_every_shell_knows_every_verb_option_and_setting(script: Path) -> None:
    text = script.read_text()
    options = {name for verb in VERBS for name in options_of(verb) if len(name) > 1}
    written = {f"-l {name} " if script.name == "fish" else dashed(name) for name in (*options, *PLACES)}
    expected = (*VERBS, *written, *(f"{row.key}=" for row in ROWS))
    assert [word for word in expected if word not in text] == []


def options_of(verb: str) -> tuple[str, ...]:
    return tuple(import_module(f"overwinter.cli.{verb.replace('-', '_')}").VERB.options)


def test_what_is_not_built_is_not_offered(bash_script: Path) -> None:
    assert offered(bash_script, "overwinter", "") == {*VERBS, "help"}


def test_bash_completes_a_verb(bash_script: Path) -> None:
    assert offered(bash_script, "overwinter", "sta") == {"status"}
    assert offered(bash_script, "overwinter", "--house", "cabin", "sta") == {"status"}
    assert offered(bash_script, "overwinter", "--house", "=", "cabin", "sta") == {"status"}


@pytest.mark.parametrize("verb", VERBS)
def test_bash_completes_the_options_of_each_verb(bash_script: Path, verb: str) -> None:
    expected = {*map(dashed, options_of(verb)), *map(dashed, PLACES), "--help"}
    assert offered(bash_script, "overwinter", verb, "-") == expected


def test_bash_completes_words_and_values(bash_script: Path) -> None:
    assert offered(bash_script, "overwinter", "mode", "") == set(MODES)
    assert offered(bash_script, "overwinter", "heat", "o") == {"on", "off"}
    assert offered(bash_script, "overwinter", "demo", "--unit", "") == {"F", "C"}
    assert offered(bash_script, "overwinter", "help", "drop") == {"drop-samples"}


def test_bash_completes_settings_and_their_words(bash_script: Path) -> None:
    assert offered(bash_script, "overwinter", "set", "") == {f"{row.key}=" for row in ROWS}
    assert offered(bash_script, "overwinter", "set", "band.l") == {"band.low="}
    # Bash itself cuts mode=o into three words.
    assert offered(bash_script, "overwinter", "set", "mode", "=", "o") == {"observe"}
    assert offered(bash_script, "overwinter", "set", "band.low=36F", "unit", "=") == {"F", "C"}


def test_bash_completes_folders_where_a_folder_is_asked_for(bash_script: Path) -> None:
    (bash_script.parent / "logs-here").mkdir(exist_ok=True)
    assert offered(bash_script, "overwinter", "events", "--logs", "logs-") == {"logs-here"}
