"""`settings --export` and `--import`: both files to another place and back, all of it or nothing.

Rule 1: nothing is touched before everything that was brought has been judged.
Rule 2: where a guard runs, the settings go through it: who may, what is allowed and what is stored is its
to say.
Rule 3: site.toml is written only where `--site` asks for it, its old bytes kept beside it; when the settings
are refused after that, the old site.toml is put back.
"""

import contextlib
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from overwinter import __version__
from overwinter.cli.ask import ask, print_caution, refusal
from overwinter.cli.files import write_whole
from overwinter.cli.options import Given, Stop, complain
from overwinter.cli.places import Places
from overwinter.core.nouns import Mode, Problem, Refused, Settings
from overwinter.guard.files import SETTINGS, last_good_site, read_bounded
from overwinter.guard.memory import lock
from overwinter.settings.carry import FILE_BYTES_MAX, Carried, carried_text, changes_towards, read_carried
from overwinter.settings.change import plan_change
from overwinter.settings.reading import decoded
from overwinter.settings.site import differences_needing_restart, parse_site
from overwinter.settings.values import differences, parse_settings
from overwinter.store.atomic import replace_durably, sync_folder

STDIN_OR_OUT = "-"


def export(where: Places, to: str) -> int:
    """Write both files, as they are stored, into one."""
    path, site_path = Path(where.state) / SETTINGS, Path(where.site)
    settings, site = _text(path), _text(site_path)
    text = carried_text(__version__, settings, site)
    try:
        read_carried(text.encode("utf-8"), "export")
    except Refused as refused:
        raise _stop("not exported: no import would take these files as they are", refused.problems) from None
    if to == STDIN_OR_OUT:
        sys.stdout.write(text)
        return 0
    try:
        write_whole(Path(to), text.encode("utf-8"))
    except OSError as error:
        raise Stop(1, f"{to} was not written: {error.strerror or error}") from None
    complain(f"{path} and {site_path} are in {to}")
    return 0


@dataclass(frozen=True, slots=True)
class Brought:
    """What came of an import: the answer of `set`, and the unit of its temperatures."""

    answer: "dict[str, Any]"
    unit: str


def bring(where: Places, given: Given, come_from: str) -> Brought:
    """Take over what an export wrote."""
    name = "the import" if come_from == STDIN_OR_OUT else come_from
    try:
        carried = read_carried(_bytes(come_from), name)
    except Refused as refused:
        raise _stop(f"{name} is refused; nothing was changed", refused.problems) from None
    # Who names a folder but no socket means that folder, such as the one of a card in a reader, and not the
    # guard that happens to run here.
    is_folder = "state" in given.options and "socket" not in given.options
    facts = None if is_folder else _guard_s_settings(where)
    with _one_site(where, carried, is_asked="site" in given.options) as told:
        if facts is None:
            answer = _into_folder(Path(where.state), carried, anyway=given.has("anyway"), told=told)
        else:
            params = {
                "changes": changes_towards(carried.settings, facts),
                "anyway": given.has("anyway"),
            }
            reply = ask(where, "set", params)
            if not isinstance(reply, dict) or reply.get("saved") is not True:
                raise Stop(1, "the guard did not say that it saved this; see `overwinter settings`")
            answer = reply
    complain(*told.lines(is_running=facts is not None, is_asked="site" in given.options))
    if carried.settings.settings.mode is Mode.OBSERVE:
        print_caution()
    return Brought(answer, str(carried.settings.settings.unit))


@dataclass(slots=True)
class _Told:
    """What people hear about it in the end."""

    kept: list[str] = field(default_factory=list)  # copies of what was there before
    site: str | None = None  # where it was written
    is_same: bool = False
    wiring: tuple[str, ...] = ()

    def lines(self, *, is_running: bool, is_asked: bool) -> list[str]:
        lines = []
        if not is_asked:
            lines.append("site.toml was checked but not written; --site FILE writes it there")
        elif self.is_same:
            lines.append("site.toml says the same already")
        else:
            lines.append(f"{self.site} was written")
        lines += [f"what was there before is kept as {path}" for path in self.kept]
        if self.site is not None and not self.is_same:
            lines.append(self._what_next(is_running=is_running))
        elif not is_running:
            lines.append("no guard runs on this folder: it is taken at the next start")
        return lines

    def _what_next(self, *, is_running: bool) -> str:
        if not is_running:
            return "no guard runs on this folder: both are taken at the next start"
        if self.wiring:
            shown = "; ".join(self.wiring)
            return f"needs a restart ({shown}): sudo systemctl restart overwinter"
        return "site.toml needs a reload: sudo systemctl reload overwinter"


def _guard_s_settings(where: Places) -> "dict[str, Any] | None":
    """The settings of the guard that answers; None: there is none."""
    from overwinter.wire.client import RpcError, Unreachable, call

    try:
        facts = call(where.socket, "settings", timeout_s=5.0)
    except Unreachable:
        return None  # one that hangs still holds its folder, which is found out there
    except RpcError as error:
        raise Stop(1, *refusal(error.code, error.message, error.problems)) from None
    if not isinstance(facts, dict):
        raise Stop(1, "the guard's answer to settings is not understood; nothing was changed")
    return facts


def _into_folder(state: Path, carried: Carried, *, anyway: bool, told: _Told) -> "dict[str, Any]":
    """Where no guard runs: the file as it was carried, while no guard can start."""
    written = carried.settings.written
    # Said once more as a change, so that what no change may bring about does not come in by this door.
    said = {key: written[key] for key in ("mode", "band.low") if key in written}
    try:
        change = plan_change(carried.settings_text, said, running=Settings(), anyway=anyway)
    except Refused as refused:
        raise _stop("the settings are refused; nothing was changed", refused.problems) from None
    path = state / SETTINGS
    try:
        state.mkdir(parents=True, exist_ok=True)
        held = lock(state)
        if held is None:
            lines = (f"a guard runs on {state} and does not answer here", "nothing was changed")
            raise Stop(3, *lines, "name its --socket, or stop it first")
        try:
            before = _there(path)
            data = change.text.encode("utf-8")
            if before != data:
                if before is not None:
                    told.kept.append(str(_keep(path, before)))
                replace_durably(path, data)
        finally:
            os.close(held)
    except OSError as error:
        shown = f"{error.strerror or error}: {error.filename or path}"
        raise Stop(1, f"could not be stored; nothing was changed: {shown}") from None
    old = Settings() if before is None else parse_settings(before).settings
    pairs = {key: list(pair) for key, pair in differences(old, change.settings).items()}
    return {"saved": True, "changes": pairs}


@contextlib.contextmanager
def _one_site(where: Places, carried: Carried, *, is_asked: bool) -> Iterator[_Told]:
    """Write site.toml where that is asked; put the old one back when what follows fails."""
    told = _Told()
    if not is_asked:
        yield told
        return
    path = Path(where.site).resolve()  # a link stays one
    data = carried.site_text.encode("utf-8")
    try:
        before = _there(path)
        told.is_same = before == data
        if not told.is_same:
            running = last_good_site(Path(where.state)) or (
                None if before is None else parse_site(before).site
            )
            told.wiring = () if running is None else differences_needing_restart(running, carried.site)
            kept = None if before is None else _keep(path, before)
            replace_durably(path, data)
            told.site = str(path)
            told.kept += [] if kept is None else [str(kept)]
    except OSError as error:
        shown = f"{error.strerror or error}: {error.filename or path}"
        raise Stop(1, f"site.toml was not written; nothing was changed: {shown}") from None
    try:
        yield told
    except BaseException:
        if not told.is_same:
            _take_back(path, before, kept)
        raise


def _take_back(path: Path, before: bytes | None, kept: Path | None) -> None:
    try:
        if before is None:
            path.unlink()
            sync_folder(path.parent)
            return
        replace_durably(path, before)
    except OSError as error:
        complain(f"{path} has the new text, and could not be put back: {error.strerror or error}")
        return
    if kept is not None:
        with contextlib.suppress(OSError):
            kept.unlink()


def _keep(path: Path, data: bytes) -> Path:
    """The old bytes beside the file, under a dated name."""
    stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime())
    for number in range(1, 100):
        kept = path.with_name(f"{path.name}.before-{stamp}" + (f"-{number}" if number > 1 else ""))
        if not os.path.lexists(kept):
            replace_durably(kept, data)
            return kept
    raise OSError(None, "too many copies within one second", str(path))


def _there(path: Path) -> bytes | None:
    """The file's bytes; None: there is none."""
    try:
        return read_bounded(path)
    except FileNotFoundError:
        return None


def _text(path: Path) -> str:
    try:
        return decoded(read_bounded(path), path.name)
    except OSError as error:
        raise Stop(1, f"not exported: {path}: {error.strerror or error}") from None
    except Refused as refused:
        raise _stop("not exported", refused.problems) from None


def _bytes(come_from: str) -> bytes:
    try:
        if come_from == STDIN_OR_OUT:
            return sys.stdin.buffer.read(FILE_BYTES_MAX + 1)
        return read_bounded(Path(come_from))
    except OSError as error:
        raise Stop(1, f"{come_from}: {error.strerror or error}; nothing was changed") from None


def _stop(text: str, problems: list[Problem]) -> Stop:
    return Stop(1, text, *(f"  {problem.text}" for problem in problems))
