"""The pages for people, taken apart: fenced blocks, headings, links, and words in code type."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
TOP = (ROOT / "README.md", ROOT / "SECURITY.md")
PAGES = tuple(path for path in (*TOP, *sorted((ROOT / "docs").glob("*.md"))) if path.exists())

FENCE = re.compile(r"^(\s*)```(\w*)\s*$")
FENCED = re.compile(r"^\s*```.*?^\s*```\s*$", re.DOTALL | re.MULTILINE)
NOT_RUN = re.compile(r"<!-- not run: (.+?) -->")
LINK = re.compile(r"!?\[(?:[^\[\]]|\[[^\]]*\])*\]\(([^()\s]+)\)")
SPAN = re.compile(r"`([^`\n]+)`")


@dataclass(frozen=True)
class Block:
    """One fenced block."""

    page: Path
    line: int
    kind: str
    text: str
    not_run: str | None  # the reason that the page itself gives

    @property
    def name(self) -> str:
        """Where it stands."""
        return f"{self.page.name}:{self.line}"

    @property
    def commands(self) -> list[tuple[str, list[str]]]:
        """Each command, and the output that is shown under it."""
        if self.kind == "console":
            found: list[tuple[str, list[str]]] = []
            for line in self.text.splitlines():
                if line.startswith("$ "):
                    found.append((line[2:], []))
                elif found:
                    found[-1][1].append(line)
            return found
        joined = self.text.replace("\\\n", " ")
        lines = [line.strip() for line in joined.splitlines()]
        return [(line, []) for line in lines if line and not line.startswith("#")]


def blocks() -> Iterator[Block]:
    """All fenced blocks of all pages."""
    for page in PAGES:
        lines = page.read_text(encoding="utf-8").splitlines()
        at = 0
        while at < len(lines):
            begin = FENCE.match(lines[at])
            at += 1
            if not begin:
                continue
            first, indent = at, len(begin[1])
            while not lines[at].strip().startswith("```"):
                at += 1
            before = next((line for line in reversed(lines[: first - 1]) if line.strip()), "")
            reason = NOT_RUN.search(before)
            text = "\n".join(line[indent:] for line in lines[first:at])
            yield Block(page, first, begin[2], text, reason[1] if reason else None)
            at += 1


def prose(page: Path) -> str:
    """The page without its fenced blocks and remarks."""
    text = FENCED.sub("", page.read_text(encoding="utf-8"))
    return re.sub(r"<!--.*?-->", "", text, flags=re.DOTALL)


def anchors(page: Path) -> set[str]:
    """What a link to a heading of this page may be called."""
    found: set[str] = set()
    for heading in re.findall(r"^#+ (.+?)\s*$", prose(page), re.MULTILINE):
        words = re.sub(r"[^\w\- ]", "", heading.replace("`", "").lower())
        slug = words.replace(" ", "-")
        number = 1
        while slug in found:
            slug = f"{words.replace(' ', '-')}-{number}"
            number += 1
        found.add(slug)
    return found


def spans(page: Path) -> list[str]:
    """The words in code type."""
    return SPAN.findall(prose(page))
