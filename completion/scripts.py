"""Prints the completion script of one shell, from the program's own tables: `scripts.py bash|zsh|fish`.

Rule: nothing about a verb, an option or a setting is written down here. Whatever the program learns, its
completion knows from the next installation on; verbs that are not built yet are not offered.
"""

import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module

from overwinter.cli import GROUPS
from overwinter.cli.options import PLACES, dashed
from overwinter.settings.schema import ROWS

HELP = ("help", "", "how it is called, with examples")
VERSION = ("version", "", "which version this is")


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One option: its name without dashes, what its value is ("" for none), what it does."""

    name: str
    takes: str
    about: str

    @property
    def choices(self) -> tuple[str, ...]:
        """The values that are possible, where they are few."""
        return tuple(self.takes.split("|")) if "|" in self.takes else ()

    @property
    def is_path(self) -> bool:
        """Whether the value is a file or folder."""
        return self.takes in ("FILE", "PATH", "DIR")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verb:
    """One verb, with the words that may follow it."""

    name: str
    about: str
    options: tuple[Option, ...] = ()
    words: tuple[str, ...] = ()
    is_setting: bool = False  # its words are KEY=VALUE


EVERYWHERE = tuple(
    Option(name=name, takes=takes, about=about)
    for name, takes, about in (*((name, *row) for name, row in PLACES.items()), HELP)
)
KEYS = tuple(row.key for row in ROWS)
CHOICES = {row.key: tuple(str(choice) for choice in row.choices) for row in ROWS if row.choices is not None}


def verbs() -> Iterator[Verb]:
    """Every verb."""
    for name, about in (pair for _, pairs in GROUPS for pair in pairs):
        verb = import_module(f"overwinter.cli.{name.replace('-', '_')}").VERB
        words = re.fullmatch(r"\[?([a-z-]+(?:\|[a-z-]+)+)\]?", verb.usage)
        yield Verb(
            name=name,
            about=about,
            options=tuple(
                Option(name=key, takes=takes, about=text) for key, (takes, text) in verb.options.items()
            ),
            words=tuple(words[1].split("|")) if words else (),
            is_setting=verb.usage.startswith("KEY=VALUE"),
        )


def bash(known: tuple[Verb, ...]) -> str:
    """A function for bash; it needs no library of functions."""
    names = " ".join((*(verb.name for verb in known), "help"))
    before_verb = " ".join(map(dashed, (*PLACES, HELP[0], VERSION[0])))
    values, cases = [], []
    for where, option in _valued(known):
        pattern = f"{where}:{dashed(option.name)}"
        if option.is_path:
            kind = "-d" if option.takes == "DIR" else "-f"
            action = f"_overwinter_paths {kind}; return"
        elif option.choices:
            action = f"words={_quoted(' '.join(option.choices))}; options=$words; verb=-"
        else:
            action = "return"
        values.append(f"        {pattern}) {action} ;;")
    for verb in known:
        options = " ".join(dashed(option.name) for option in (*verb.options, *EVERYWHERE))
        words = " ".join(f"{key}=" for key in KEYS) if verb.is_setting else " ".join(verb.words)
        cases.append(f"        {verb.name}) words={_quoted(words)}; options={_quoted(options)} ;;")
        if verb.is_setting:
            values += [
                f"        {verb.name}:{key}) words={_quoted(' '.join(choices))}; options=; verb=- ;;"
                for key, choices in CHOICES.items()
            ]
    valued_places = "|".join(dashed(name) for name, (takes, _) in PLACES.items() if takes)
    return "\n".join(
        (
            "# bash completion for overwinter, made from its own tables of verbs, options and settings.",
            "_overwinter_paths() {",
            '    mapfile -t COMPREPLY < <(compgen "$1" -- "$cur")',
            "    compopt -o filenames 2>/dev/null",
            "}",
            "_overwinter() {",
            "    local cur=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]}",
            "    local verb='' words='' options='' at",
            "    COMPREPLY=()",
            "    # Bash takes --site=FILE and unit=C for three words each.",
            "    if [[ $cur == '=' ]]; then",
            "        cur=",
            "    elif [[ $before == '=' ]]; then",
            "        before=${COMP_WORDS[COMP_CWORD - 2]}",
            "    fi",
            "    for ((at = 1; at < COMP_CWORD; at++)); do",
            "        case ${COMP_WORDS[at]} in",
            f"        {valued_places})",
            "            at=$((at + 1))",
            "            [[ ${COMP_WORDS[at]} != '=' ]] || at=$((at + 1))",
            "            ;;",
            "        -* | =) ;;",
            "        *)",
            "            verb=${COMP_WORDS[at]}",
            "            break",
            "            ;;",
            "        esac",
            "    done",
            "    case $verb:$before in",
            *values,
            "    esac",
            "    case $verb in",
            "        -) ;; # the values of an option, found above",
            f"        '') words={_quoted(names)}; options={_quoted(before_verb)} ;;",
            f"        help) words={_quoted(names)} ;;",
            *cases,
            "    esac",
            "    [[ $cur != -* ]] || words=$options",
            '    mapfile -t COMPREPLY < <(compgen -W "$words" -- "$cur")',
            "    [[ ${COMPREPLY[0]} != *= ]] || compopt -o nospace 2>/dev/null",
            "}",
            "complete -F _overwinter overwinter",
            "",
        )
    )


def zsh(known: tuple[Verb, ...]) -> str:
    """A function for zsh's own completion system."""
    described = [f"    {_quoted(_described(verb.name, verb.about))}" for verb in known]
    cases = []
    for verb in known:
        rows = [f"            {_zsh_option(option)}" for option in verb.options]
        if verb.is_setting:
            rows.append("            '*:setting:_overwinter_settings'")
        elif verb.words:
            rows.append(f"            {_quoted(f'1:word:({chr(32).join(verb.words)})')}")
        cases += [
            f"        {verb.name})",
            " \\\n".join(["            _arguments $everywhere", *rows]),
            "            ;;",
        ]
    settings = []
    for number, (key, choices) in enumerate(CHOICES.items()):
        settings += [
            f"    {'elif' if number else 'if'} compset -P {_quoted(f'{key}=')}; then",
            f"        compadd -- {' '.join(choices)}",
        ]
    return "\n".join(
        (
            "#compdef overwinter",
            "# zsh completion for overwinter, made from its own tables of verbs, options and settings.",
            "_overwinter_settings() {",
            *settings,
            "    else",
            f"        compadd -S '' -- {' '.join(f'{key}=' for key in KEYS)}",
            "    fi",
            "}",
            "_overwinter() {",
            '    local curcontext="$curcontext" state line',
            "    local -a verbs everywhere",
            "    verbs=(",
            *described,
            "    )",
            "    everywhere=(",
            *(f"        {_zsh_option(option)}" for option in EVERYWHERE),
            "    )",
            f"    _arguments -C $everywhere {_quoted(f'--{VERSION[0]}[{VERSION[2]}]')} \\",
            "        '1:verb:->verb' '*::word:->words'",
            "    case $state in",
            "    verb)",
            "        _describe -t verbs verb verbs",
            "        ;;",
            "    words)",
            "        case $words[1] in",
            "        help)",
            "            _describe -t verbs verb verbs",
            "            ;;",
            *cases,
            "        esac",
            "        ;;",
            "    esac",
            "}",
            '_overwinter "$@"',
            "",
        )
    )


def fish(known: tuple[Verb, ...]) -> str:
    """Lines for fish."""
    lines = [
        "# fish completion for overwinter, made from its own tables of verbs, options and settings.",
        "complete -c overwinter -f",
    ]
    first = "complete -c overwinter -n __fish_use_subcommand"
    lines += [f"{first} -a {verb.name} -d {_fish_quoted(verb.about)}" for verb in known]
    lines.append(f"{first} -l {VERSION[0]} -d {_fish_quoted(VERSION[2])}")
    lines += [f"complete -c overwinter{_fish_option(option)}" for option in EVERYWHERE]
    for verb in known:
        start = f"complete -c overwinter -n '__fish_seen_subcommand_from {verb.name}'"
        lines += [f"{start}{_fish_option(option)}" for option in verb.options]
        words = verb.words
        if verb.is_setting:
            chosen = [f"{key}={choice}" for key, choices in CHOICES.items() for choice in choices]
            words = (*chosen, *(f"{key}=" for key in KEYS if key not in CHOICES))
        if words:
            lines.append(f"{start} -a {_fish_quoted(' '.join(words))}")
    names = " ".join(verb.name for verb in known)
    lines.append(f"complete -c overwinter -n '__fish_seen_subcommand_from help' -a {_fish_quoted(names)}")
    return "\n".join((*lines, ""))


def _valued(known: Iterable[Verb]) -> Iterator[tuple[str, Option]]:
    """Where each option with a value is understood, as a pattern for the verb."""
    for option in EVERYWHERE:
        if option.takes:
            yield "*", option
    for verb in known:
        for option in verb.options:
            if option.takes:
                yield verb.name, option


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "'\\''") + "'"


def _fish_quoted(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"


def _described(name: str, about: str) -> str:
    return f"{name}:{about.replace(':', chr(92) + ':')}"


def _zsh_option(option: Option) -> str:
    about = re.sub(r"([\[\]\\:])", r"\\\1", option.about)
    spec = f"{dashed(option.name)}[{about}]"
    if option.takes:
        action = "_files -/" if option.takes == "DIR" else "_files" if option.is_path else " "
        if option.choices:
            action = f"({' '.join(option.choices)})"
        spec += f":{option.takes.replace('|', ' or ')}:{action}"
    return _quoted(spec)


def _fish_option(option: Option) -> str:
    flag = f" -{'l' if len(option.name) > 1 else 's'} {option.name} -d {_fish_quoted(option.about)}"
    if not option.takes:
        return flag
    if option.choices:
        return f"{flag} -x -a {_fish_quoted(' '.join(option.choices))}"
    if option.takes == "DIR":
        return f"{flag} -x -a '(__fish_complete_directories)'"
    return f"{flag} -r -F" if option.is_path else f"{flag} -x"


SHELLS = {"bash": bash, "zsh": zsh, "fish": fish}

if __name__ == "__main__":
    if sys.argv[1:] not in [[shell] for shell in SHELLS]:
        sys.exit(f"say which shell: {', '.join(SHELLS)}")
    sys.stdout.write(SHELLS[sys.argv[1]](tuple(verbs())))
