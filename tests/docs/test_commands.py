"""Every command that a page shows is known to the program, and does what the page says.

Commands run one after another, as somebody would type them, on a real guard with simulated parts. What needs
a board, another machine or a person is not run: its names are still checked, and the reason is printed.
"""

import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

from overwinter.cli import VERBS
from overwinter.cli.options import Stop
from overwinter.settings.reading import toml_tree
from overwinter.settings.site import parse_site
from tests.docs.pages import PAGES, ROOT, Block, blocks, spans
from tests.docs.stage import Stage

ALL = list(blocks())
TYPED = [block for block in ALL if block.kind in {"sh", "console"}]

ELSEWHERE = {
    "adduser": "changes this machine",
    "apt-get": "changes this machine",
    "cd": "leads elsewhere",
    "git": "needs a network",
    "grep": "needs a board",
    "journalctl": "needs a system that systemd runs",
    "ls": "needs a board",
    "make": "builds or changes this machine",
    "man": "needs the installed pages",
    "mosquitto_passwd": "needs a broker",
    "nano": "needs a person",
    "poweroff": "needs a board",
    "python": "a tool of the source tree",
    "python3": "a tool of the source tree",
    "reboot": "needs a board",
    "ssh": "needs another machine",
    "sudoedit": "needs a person",
    "systemctl": "needs a system that systemd runs",
    "timedatectl": "needs a system that systemd runs",
}
STAYS = {
    "guard": "stays until it is stopped",
    "notifier": "stays until it is stopped",
    "prove": "takes half an hour and asks a person",
    "web": "stays until it is stopped",
}
MORE = {"demo": "--hours 0.2 --speed 3000"}
MAY_END = {"check": {0, 1}}  # a machine for tests is no pump house, and check says so
FILES = {"/etc/overwinter/site.toml", "/boot/firmware/config.txt"}

NUMBER = re.compile(r"-?\d+(?:[.:]\d+)*")
TIME = re.compile(r"(?:N (?:ms|s|min|h|d)\b ?)+")


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    stage = Stage(tmp_path_factory.mktemp("docs"))
    yield stage
    stage.close()


@pytest.fixture(scope="module")
def pages_seen() -> set[Path]:
    return set()


def words_of(command: str) -> list[str]:
    """The words up to the first pipe or redirection, without `sudo`; a remark is left out."""
    lexer = shlex.shlex(command, posix=True, punctuation_chars="|<>;&")
    lexer.whitespace_split = True
    lexer.commenters = "#"
    words = list(lexer)
    end = next((at for at, word in enumerate(words) if word[0] in "|<>;&"), len(words))
    words = words[:end]
    while words and (words[0] == "sudo" or re.fullmatch(r"[A-Z_]+=.*", words[0])):
        del words[0]
    return words


def why_unknown(words: list[str]) -> str | None:
    """What is wrong with a call of `overwinter`, as far as words can tell."""
    if len(words) < 2 or words[1] in {"--version", "help", "VERB"}:
        return None
    verb = words[1]
    if verb not in VERBS:
        return f"there is no verb {verb}"
    options = import_module(f"overwinter.cli.{verb.replace('-', '_')}").VERB
    try:
        options.parse(words[2:], most=None)
    except Stop as stop:
        return None if stop.code == 0 else " ".join(stop.lines)
    return None


def why_elsewhere(words: list[str]) -> str | None:
    """What is wrong with a command that is not run here: a unit, target or file that does not exist."""
    name, rest = words[0], [word for word in words[1:] if not word.startswith("-")]
    if name == "systemctl":
        known = {path.stem for path in (ROOT / "systemd").iterdir()}
        wrong = [unit for unit in rest[1:] if re.sub(r"@\w+", "@", unit) not in known]
        return f"there is no unit {', '.join(wrong)}" if wrong else None
    if name == "make":
        targets = re.findall(r"^([a-z\-]+(?: [a-z\-]+)*):", (ROOT / "Makefile").read_text(), re.MULTILINE)
        known = {one for target in targets for one in target.split()}
        wrong = [word for word in rest if "=" not in word and word not in known]
        return f"there is no target {', '.join(wrong)}" if wrong else None
    if name in {"nano", "sudoedit"}:
        wrong = [word for word in rest if re.sub(r"@\w+/", "/", word) not in FILES]
        return f"nobody reads {', '.join(wrong)}" if wrong else None
    if name.startswith("python"):
        wrong = [word for word in rest if word.endswith(".py") and not (ROOT / word).exists()]
        return f"there is no {', '.join(wrong)}" if wrong else None
    return None


def why_not_here(words: list[str]) -> str | None:
    """A path of the machine's own is never touched by a test."""
    ours = [word for word in words if word.startswith(("/etc/", "/var/", "/opt/", "/run/", "/boot/"))]
    return f"names {ours[0]} of this machine" if ours and words[0] == "overwinter" else None


def shape(line: str) -> str:
    """A line without what differs from day to day: numbers, times and spaces."""
    return " ".join(TIME.sub("TIME ", NUMBER.sub("N", line)).split())


def missing(shown: list[str], said: str) -> str | None:
    """The first shown line that was not said, in order."""
    rest = iter([shape(line) for line in said.splitlines()])
    for line in shown:
        wanted = shape(line)
        if wanted in {"", "..."}:
            continue
        if not any(wanted == one for one in rest):
            return line
    return None


@pytest.mark.parametrize("block", [pytest.param(block, id=block.name) for block in TYPED])
def test_what_a_page_shows_can_be_typed(block: Block, stage: Stage, pages_seen: set[Path]) -> None:
    if block.page not in pages_seen:
        pages_seen.add(block.page)
        stage.settle()
    if block.text.startswith("#!"):
        done = subprocess.run(["sh", "-n"], input=block.text, text=True, capture_output=True, check=False)
        assert done.returncode == 0, done.stderr
        return
    not_run, has_run = [], False
    for command, shown in block.commands:
        words = words_of(command)
        is_ours = words[0] == "overwinter"
        wrong = why_unknown(words) if is_ours else why_elsewhere(words)
        assert wrong is None, f"{command}: {wrong}"
        verb = words[1] if is_ours and len(words) > 1 else ""
        reason = (
            block.not_run or why_not_here(words) or (STAYS.get(verb) if is_ours else ELSEWHERE.get(words[0]))
        )
        if reason:
            not_run.append(f"{words[0]} {verb}".strip() + f": {reason}")
            continue
        assert is_ours or words[0] in {"echo", "printf"}, f"{command}: nobody checks such a command"
        done = stage.run(command.partition(" #")[0] + f" {MORE.get(verb, '')}")
        has_run = True
        assert done.returncode in MAY_END.get(verb, {0}), f"{command}\n{done.stdout}{done.stderr}"
        lacking = missing(shown, done.stdout + "\n" + done.stderr)
        assert lacking is None, f"{command}: was not said:\n{lacking}\nsaid was:\n{done.stdout}{done.stderr}"
    for line in not_run:
        print(f"not run: {line}")
    if not has_run:
        pytest.skip("; ".join(dict.fromkeys(not_run)))


@pytest.mark.parametrize("page", [pytest.param(page, id=page.name) for page in PAGES])
def test_a_command_in_running_text_is_known(page: Path) -> None:
    calls = [span for span in spans(page) if span.startswith("overwinter ")]
    wrong = {}
    for call in calls:
        # Usage lines have what may be left out in brackets.
        words = [] if "[" in call else words_of(call.replace("...", "").replace("|", "-or-"))
        if why := why_unknown(words):
            wrong[call] = why

    assert wrong == {}


@pytest.mark.parametrize(
    "block", [pytest.param(block, id=block.name) for block in ALL if block.kind == "python"]
)
def test_a_program_that_a_page_shows_runs(block: Block, stage: Stage) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", block.text],
        env=stage.environment,
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
    )

    assert done.returncode == 0, done.stderr
    assert done.stdout


@pytest.mark.parametrize(
    "block", [pytest.param(block, id=block.name) for block in ALL if block.kind == "toml"]
)
def test_a_piece_of_site_toml_is_taken(block: Block) -> None:
    """A piece alone, or with the example's sensors and relay where it has none."""
    pieces = block.text
    for table, text in {
        "[sensor]": '[[sensor]]\nname = "a"\nrole = "control"\nkind = "simulated"\n',
        "[relay]": '[relay]\nkind = "simulated"\n',
    }.items():
        if table not in pieces:
            pieces += f"\n{text}"

    assert toml_tree(pieces, block.name)
    assert [problem.text for problem in parse_site(pieces).problems] == []


@pytest.mark.parametrize(
    ("command", "wrong"),
    [
        pytest.param("overwinter stauts", "there is no verb stauts", id="a verb"),
        pytest.param("overwinter status --jsno", "there is no option --jsno", id="an option"),
        pytest.param("sudo systemctl start overwinterd", "there is no unit overwinterd", id="a unit"),
        pytest.param("sudo make instal", "there is no target instal", id="a target"),
        pytest.param("sudo nano /etc/overwinter.toml", "nobody reads /etc/overwinter.toml", id="a file"),
    ],
)
def test_a_wrong_command_is_found(command: str, wrong: str) -> None:
    words = words_of(command)

    assert wrong in str(why_unknown(words) if words[0] == "overwinter" else why_elsewhere(words))


def test_output_is_held_to_its_words_and_not_to_its_numbers() -> None:
    said = "house  mill\n36.0 F (2.2 C); heat is on for 2 min\nlast"

    assert missing(["38.1 F (3.4 C); heat is on for 3 h 20 min"], said) is None
    assert missing(["house mill", "...", "last"], said) is None
    assert missing(["38.1 F (3.4 C); heat is off for 3 h"], said) is not None
    assert missing(["last", "house mill"], said) is not None
