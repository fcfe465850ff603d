"""The two files at a start and at a reload: what runs, what had to be recovered, what to put right on disk.

Reading is done at once; every repair is a job for the keeper's thread, so that a disk that hangs or refuses
cannot keep the house cold.
"""

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from overwinter.core.nouns import OverwinterError, Problem, Settings, Site
from overwinter.settings.site import parse_site
from overwinter.settings.values import Parsed, default_text, differences, parse_settings
from overwinter.store.atomic import read_copy, replace_durably, set_aside, write_copy

SETTINGS = "settings.toml"
SETTINGS_COPY = "settings.last-good"
SITE_COPY = "site.last-good"

FILE_AT_MOST = 1_048_576
"""Nobody writes a megabyte of settings by hand; a device file or a mistake must not fill the memory."""


class CannotStart(OverwinterError):
    """Nothing says what is wired here, not even an earlier run."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedSettings:
    """Settings to run on. `recovered`: which keys came from where, if the file could not be taken whole.

    `by_hand`: what the file says otherwise than when the guard last knew it: an edit, or a damaged disk.
    """

    settings: Settings
    by_hand: Mapping[str, tuple[object, object]] = field(default_factory=dict)
    recovered: str | None = None
    repair: Callable[[], None] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedSite:
    """A site to run on."""

    site: Site
    recovered: str | None = None
    repair: Callable[[], None] | None = None


def read_bounded(path: Path) -> bytes:
    """The file's bytes; OSError if there is none, it cannot be read, or it is no text file of sane size."""
    with path.open("rb") as file:
        data = file.read(FILE_AT_MOST + 1)
    if len(data) > FILE_AT_MOST:
        raise OSError(None, f"larger than {FILE_AT_MOST} bytes", str(path))
    return data


def load_settings(state_dir: Path, *, sense_s_min: float) -> LoadedSettings:
    """settings.toml, else its last-good copy, else defaults that protect pipes. Never raises."""
    path, copy_path = state_dir / SETTINGS, state_dir / SETTINGS_COPY
    copy = _copy(copy_path)
    kept = None if copy is None else parse_settings(copy, sense_s_min=sense_s_min)
    spare = "its last-good copy" if kept is not None else "defaults that protect pipes"
    spare_settings = Settings() if kept is None else kept.settings
    spare_bytes = default_text().encode() if copy is None else copy
    try:
        data = read_bounded(path)
    except FileNotFoundError:
        repair = _writing(path, copy_path, spare_bytes)
        if copy is None:
            return LoadedSettings(settings=spare_settings, repair=repair)  # the first start
        text = f"{path} was gone: every key came from {spare}, and the file was written again"
        return LoadedSettings(settings=spare_settings, recovered=text, repair=repair)
    except OSError as error:
        text = f"{path} could not be read ({_words(error)}): every key came from {spare}"
        return LoadedSettings(settings=spare_settings, recovered=text)
    parsed = parse_settings(data, sense_s_min=sense_s_min, fallback=None if kept is None else kept.settings)
    # Not one key can be made out, or none stands there any more, as in a file that a power cut emptied.
    if not parsed.written and (parsed.fallen or copy is not None):
        text = (
            f"{path} could not be understood ({_first(parsed.problems)}): every key came from {spare}; "
            "the file was moved aside under a dated name"
        )
        return LoadedSettings(
            settings=spare_settings,
            recovered=text,
            repair=_writing(path, copy_path, spare_bytes, aside=True),
        )
    if parsed.problems:
        keys = ", ".join(parsed.fallen) or "none"
        said = "; ".join(problem.text for problem in parsed.problems[:5])
        text = (
            f"{path}: {said}. From {spare}: {keys}; all others as written. Mend the file: it is left as it is"
        )
        return LoadedSettings(settings=parsed.settings, recovered=text)
    if copy == data:
        return LoadedSettings(settings=parsed.settings)
    by_hand = {} if kept is None else differences(kept.settings, parsed.settings)
    return LoadedSettings(settings=parsed.settings, by_hand=by_hand, repair=_copying(copy_path, data))


def load_site(path: Path, state_dir: Path) -> LoadedSite:
    """site.toml, else the last-good copy of one that ran.

    Raises
    ------
    CannotStart
        It cannot be taken and there is no copy; the text names every problem.
    """
    copy_path = state_dir / SITE_COPY
    copy = _copy(copy_path)
    problems: tuple[Problem, ...] | None = None
    try:
        data = read_bounded(path)
    except OSError as error:
        why = f"{path} could not be read ({_words(error)})"
    else:
        parsed = parse_site(data)
        if parsed.site is not None:
            repair = None if copy == data else _copying(copy_path, data)
            return LoadedSite(site=parsed.site, repair=repair)
        problems = parsed.problems
        why = f"{path} is refused: " + "; ".join(problem.text for problem in problems)
    kept = last_good_site(state_dir)
    if kept is None:
        raise CannotStart(f"{why}. There is no last-good copy in {state_dir}: nothing says what is wired")
    return LoadedSite(site=kept, recovered=f"{why}. The last site.toml that ran is used; mend the file")


def last_good_site(state_dir: Path) -> Site | None:
    """The last site.toml that a guard ran on; None if there is no sound copy of one."""
    copy = _copy(state_dir / SITE_COPY)
    return None if copy is None else parse_site(copy).site


def reread_settings(path: Path, *, sense_s_min: float) -> tuple[bytes, Parsed]:
    """What a reload finds; OSError if it cannot be read."""
    data = read_bounded(path)
    return data, parse_settings(data, sense_s_min=sense_s_min)


def _copy(path: Path) -> bytes | None:
    try:
        return read_copy(path)
    except OSError:
        return None


def _writing(path: Path, copy_path: Path, data: bytes, *, aside: bool = False) -> Callable[[], None]:
    def write() -> None:
        if aside and path.exists() and set_aside(path, "unreadable") is None:
            return  # it could not be moved: an owner's file is never written over unread
        replace_durably(path, data)
        write_copy(copy_path, data)

    return write


def _copying(copy_path: Path, data: bytes) -> Callable[[], None]:
    return lambda: write_copy(copy_path, data)


def _words(error: OSError) -> str:
    return os.strerror(error.errno) if error.errno else str(error)


def _first(problems: tuple[Problem, ...]) -> str:
    return problems[0].text if problems else "no reason is known"
