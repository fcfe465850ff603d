"""What must be true of every disk that a power cut left; asked of the guard's readers, then of a guard."""

import tempfile
from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

import pytest

from overwinter.guard.files import SETTINGS, SETTINGS_COPY, SITE_COPY, load_settings, load_site
from overwinter.guard.memory import counters
from overwinter.guard.way_back import Return
from overwinter.settings.values import parse_settings
from overwinter.store.atomic import read_copy
from overwinter.store.keeper import STATE_NAME
from overwinter.store.lines import last_lines, read_lines
from overwinter.store.logbook import Logbook
from overwinter.store.small import load_state
from tests.rigs.power.changes import change_number, note_number, number_of, settings_after
from tests.rigs.power.scene import LOGBOOK_BYTES_MOST, bench_house
from tests.rigs.power.states import Crash, Known

SENSE_S_MIN = 1.0
TAIL = 500
SHOWN_C = 1e-3  # to which `status` rounds


class Wrong(StrEnum):
    """The kinds of what may be wrong."""

    LOST = "an answered change is lost"
    SETTINGS = "settings are neither the old nor the new"
    EVENTS = "events are lost"
    READER = "a reader fails"
    GUARD = "the guard does not go on"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong with a disk."""

    wrong: Wrong
    text: str

    def __str__(self) -> str:
        return f"{self.wrong}: {self.text}"


def check(folder: Path, crash: Crash) -> list[Finding]:
    """Everything wrong with a crashed disk, as its files stand."""
    findings: list[Finding] = []
    for part in (_settings, _copies, _logbook):
        try:
            findings += part(folder, crash)
        except Exception as error:  # noqa: BLE001  that no reader raises is what is checked
            findings.append(Finding(Wrong.READER, f"{part.__name__.strip('_')}: {error!r}"))
    return findings


def _settings(folder: Path, crash: Crash) -> list[Finding]:
    known = crash.known
    loaded = load_settings(folder / "state", sense_s_min=SENSE_S_MIN)
    findings = _dated(f"{SETTINGS} or its copy", number_of(loaded.settings), known)
    if loaded.recovered is not None:
        # The copy would have saved it, but a file that is replaced as a whole never needs that.
        findings.append(Finding(Wrong.SETTINGS, loaded.recovered))
    stored = load_state(folder / "state" / STATE_NAME) or {}
    back = Return.recall(stored.get("way_back"))
    if loaded.settings.mode == "observe" and (back is None or back.mode != "freeze"):
        findings.append(Finding(Wrong.LOST, f"mode observe without its way back: {stored}"))
    if loaded.settings.mode != "observe" and back is not None and known.asked == known.answered:
        findings.append(Finding(Wrong.SETTINGS, f"a way back from an observe that is over: {stored}"))
    return findings


def _copies(folder: Path, crash: Crash) -> list[Finding]:
    """Last-good copies: whole, and as new as the answers. The state file: whole, or not there yet."""
    state = folder / "state"
    findings = []
    copy = read_copy(state / SETTINGS_COPY)
    if copy is not None:
        parsed = parse_settings(copy, sense_s_min=SENSE_S_MIN)
        findings += _dated(SETTINGS_COPY, number_of(parsed.settings), crash.known)
    elif crash.known.answered or (state / SETTINGS_COPY).exists():
        findings.append(Finding(Wrong.SETTINGS, f"{SETTINGS_COPY} is not whole"))
    if crash.known.answered:  # the copy of site.toml was stored before
        load_site(folder / "no such site.toml", state)
    elif (state / SITE_COPY).exists() and read_copy(state / SITE_COPY) is None:
        findings.append(Finding(Wrong.SETTINGS, f"{SITE_COPY} is not whole"))
    if (state / STATE_NAME).exists() and load_state(state / STATE_NAME) is None:
        findings.append(Finding(Wrong.SETTINGS, "the state file is not whole"))
    return findings


def _dated(name: str, number: int | None, known: Known) -> list[Finding]:
    if number is None:
        return [Finding(Wrong.SETTINGS, f"{name}: the outcome of no change")]
    if number < known.answered:
        return [Finding(Wrong.LOST, f"{name}: change {number}, but {known.answered} was answered")]
    if number > known.asked:
        return [Finding(Wrong.SETTINGS, f"{name}: change {number}, but only {known.asked} was asked for")]
    return []


def _logbook(folder: Path, crash: Crash) -> list[Finding]:
    logs = folder / "logs"
    skipped: Counter[str] = Counter()
    lines = list(read_lines(logs, skipped=skipped))
    tail = last_lines(logs, TAIL)
    findings = []
    if tail != lines[-TAIL:]:
        findings.append(Finding(Wrong.READER, "the last lines are not the end of all lines"))
    counters(load_state(folder / "state" / STATE_NAME), tail)
    size = Logbook(logs, LOGBOOK_BYTES_MOST).size()
    if size > LOGBOOK_BYTES_MOST:
        findings.append(Finding(Wrong.EVENTS, f"the logbook holds {size} bytes: over its bound"))
    # Only the one file that was being written may end torn; nothing of ours writes garbage.
    if skipped["torn"] > 1 or skipped["garbage"]:
        findings.append(Finding(Wrong.EVENTS, f"lines are broken: {dict(skipped)}"))
    is_full = size > LOGBOOK_BYTES_MOST // 2  # then the oldest lines may rightly be gone
    for method, number_in, asked in (
        ("note", note_number, crash.known.notes_asked),
        ("set", change_number, crash.known.asked),
    ):
        found = [number for line in lines if (number := number_in(line)) is not None]
        wanted = crash.known.recorded(method, crash.at_s)
        first, last = (found[0], found[-1]) if found else (1, 0)
        if found != list(range(first, last + 1)) or (first > 1 and not is_full):
            findings.append(Finding(Wrong.EVENTS, f"{method}: not one after the other: {found}"))
        if not wanted <= last <= asked:
            text = f"{method}: the last is {last}; {wanted} was answered over a second ago, {asked} asked for"
            findings.append(Finding(Wrong.EVENTS, text))
    return findings


def check_by_guard(folder: Path, crash: Crash) -> list[Finding]:
    """Start the real guard on the crashed disk, ask its band, stop it, and look once more."""
    before = _numbered(folder)
    with tempfile.TemporaryDirectory(prefix="ow-power-") as bench, bench_house(Path(bench), folder) as house:
        try:
            house.start()
            status = house.status()
            code = house.stop()
        except (AssertionError, OSError, ValueError) as error:
            return [Finding(Wrong.GUARD, f"{error!r} {house.said.read_text()[-1000:]}")]
    findings = []
    band = status["band"]["low_c"], status["band"]["high_c"]
    possible = [settings_after(number) for number in range(crash.known.answered, crash.known.asked + 1)]
    if not any(band == pytest.approx((one.low_c, one.high_c), abs=SHOWN_C) for one in possible):
        text = f"its band is {band}, after change {crash.known.answered} to {crash.known.asked}"
        findings.append(Finding(Wrong.LOST, text))
    if any(alarm["code"] == "settings-recovered" for alarm in status["alarms"]):
        findings.append(Finding(Wrong.SETTINGS, f"the guard had to recover: {status['alarms']}"))
    if set(status["disk"].values()) != {"ok"} or code:
        findings.append(Finding(Wrong.GUARD, f"disk {status['disk']}, exit code {code}"))
    after = _numbered(folder)
    # A start may turn a file over and drop the oldest; it touches no other line.
    if len(after) < len(before) // 2 or after != before[len(before) - len(after) :]:
        findings.append(Finding(Wrong.EVENTS, f"of {len(before)} lines {len(after)} outlived the next start"))
    if not any(line["event"] == "stop" for line in last_lines(folder / "logs", 5)):
        findings.append(Finding(Wrong.EVENTS, "the next stop is not in the logbook"))
    return findings + check(folder, crash)


def _numbered(folder: Path) -> list[dict[str, Any]]:
    """The lines that bear our numbers."""
    lines = read_lines(folder / "logs")
    return [line for line in lines if note_number(line) is not None or change_number(line) is not None]
