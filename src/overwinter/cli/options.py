"""Reads a verb's words and options from one small table, and prints its help from the same table.

Not argparse: importing it takes longer than the whole of `overwinter status` may, and it takes `-1C` for an
option. Rule: an option is two dashes and a letter, or one dash and exactly one letter. All else, and so
every negative number, is a word.
"""

import os
import sys
from collections.abc import Iterable, Mapping

PLACES: Mapping[str, tuple[str, str]] = {
    "site": ("FILE", "site.toml: what is wired and built"),
    "state": ("DIR", "folder of settings.toml"),
    "logs": ("DIR", "folder of the logbook"),
    "socket": ("PATH", "the guard's socket"),
    "house": ("NAME", "the house that runs as overwinter@NAME"),
}
"""What every verb takes, before or behind its name."""

JSON = ("", "as JSON, in SI units with the unit in the key")
NO_COLOR = ("", "without colour, even on a terminal; as NO_COLOR=1 for this one call")
ANYWAY = ("", "although a rule advises against it")

HELP_COLUMNS = 100


class Stop(Exception):
    """Ends the command with this exit code, after these lines on stderr."""

    def __init__(self, code: int, *lines: str) -> None:
        super().__init__(code, *lines)
        self.code = code
        self.lines = lines


class Given:
    """What stood on the command line."""

    __slots__ = ("options", "words")

    def __init__(self, words: list[str], options: dict[str, str]) -> None:
        self.words = words
        self.options = options

    def has(self, name: str) -> bool:
        """Whether the option was given."""
        return name in self.options

    def value(self, name: str) -> str | None:
        """The option's value, or None where it was not given."""
        return self.options.get(name)


class Verb:
    """One verb: how it is called, what it does, its options and examples."""

    __slots__ = ("about", "examples", "name", "options", "usage")

    def __init__(
        self,
        name: str,
        usage: str = "",
        *,
        about: str,
        examples: tuple[str, ...],
        options: Mapping[str, tuple[str, str]] | None = None,
    ) -> None:
        self.name = name
        self.usage = usage
        self.about = about
        self.examples = examples
        self.options = options or {}  # name without dashes: (what its value is, or "" for none; help)

    def parse(self, argv: list[str], *, most: int | None = 0) -> Given:
        """Sort `argv` into words and options; at most `most` words (None: any number).

        Raises
        ------
        Stop
            With code 0 when help was asked for and printed, 2 when the words make no sense.
        """
        known = {**self.options, **PLACES}
        words: list[str] = []
        options: dict[str, str] = {}
        rest = iter(argv)
        for argument in rest:
            if argument == "--":
                words.extend(rest)
                break
            if not is_option(argument):
                words.append(argument)
                continue
            if argument in {"-h", "--help"}:
                print(self.help())
                raise Stop(0)
            name, equals, value = argument.lstrip("-").partition("=")
            if name not in known or argument.split("=")[0] != dashed(name):
                raise self.wrong(unknown_option(argument.split("=")[0], known))
            takes = known[name][0]
            if not takes and equals:
                raise self.wrong(f"{dashed(name)} takes no value")
            if takes and not equals:
                value = next(rest, "--")
                if is_option(value) or value == "--":
                    raise self.wrong(f"{dashed(name)} needs a value: {dashed(name)} {takes}")
            if takes and not value:
                raise self.wrong(f"{dashed(name)} is empty; it needs a value: {dashed(name)} {takes}")
            options[name] = value
        if "no-color" in options:
            os.environ["NO_COLOR"] = "1"
        if most is not None and len(words) > most:
            raise self.wrong(f"{words[most]!r} is one word too many")
        return Given(words, options)

    def wrong(self, text: str) -> Stop:
        """Wrong usage, as the exception to raise."""
        return Stop(
            2, f"{self.name}: {text}", f"usage: {self.line()}   (more: overwinter {self.name} --help)"
        )

    def line(self, *, hold: str = " ") -> str:
        """How the verb is called, in one line; `hold` stands between an option and its value."""
        words = [f"overwinter {self.name}", self.usage]
        words += [f"[{_shown(name, takes)}]".replace(" ", hold) for name, (takes, _) in self.options.items()]
        return " ".join(word for word in words if word)

    def help(self) -> str:
        """The whole help of this verb."""
        import textwrap  # only for who asks

        examples = "\n".join(f"  {example}" for example in self.examples)
        # An option and its value stay together: no-break spaces hold them while the line is folded.
        usage = textwrap.fill(
            "usage: " + self.line(hold="\N{NO-BREAK SPACE}"),
            HELP_COLUMNS,
            subsequent_indent=" " * 9,
            break_long_words=False,
            break_on_hyphens=False,
        ).replace("\N{NO-BREAK SPACE}", " ")
        parts = [usage, self.about.strip(), f"examples:\n{examples}"]
        if self.options:
            parts.append("options:\n" + _listed(self.options))
        parts.append("where things are:\n" + _listed(PLACES))
        return "\n\n".join(parts)


def is_option(argument: str) -> bool:
    """Whether this is meant as an option; `-1C`, `-0.5` and `-` are not."""
    if argument.startswith("--"):
        return argument[2:3].isalpha()
    return len(argument) == 2 and argument[0] == "-" and argument[1].isalpha()


def dashed(name: str) -> str:
    """`json` is written `--json`, `o` is written `-o`."""
    return f"--{name}" if len(name) > 1 else f"-{name}"


def unknown_option(argument: str, known: Iterable[str]) -> str:
    """What to say to an option that does not exist."""
    near = nearest(argument, [*map(dashed, known), "--help"])
    return f"there is no option {argument}" + (f"; did you mean {near}?" if near else "")


def nearest(word: str, among: Iterable[str]) -> str | None:
    """The one of `among` that `word` was probably meant to be."""
    import difflib  # only when something was mistyped: it takes a third of the start-up time

    return next(iter(difflib.get_close_matches(word, list(among), n=1, cutoff=0.5)), None)


def complain(*lines: str) -> None:
    """Lines for the person on stderr, the first with the program's name before it."""
    if sys.stderr is None:  # closed by the caller: print() would then write to stdout instead
        return
    for number, line in enumerate(lines):
        print(line if number else f"overwinter: {line}", file=sys.stderr)


def _shown(name: str, takes: str) -> str:
    return f"{dashed(name)} {takes}".rstrip()


def _listed(options: Mapping[str, tuple[str, str]]) -> str:
    rows = [(_shown(name, takes), text) for name, (takes, text) in options.items()]
    width = max(len(left) for left, _ in rows)
    return "\n".join(f"  {left:<{width}}  {text}" for left, text in rows)
