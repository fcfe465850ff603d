"""Faults of power, process, disk, files, clock and people at the keyboard."""

import signal

from overwinter.core.nouns import RelaySpec
from tests.faults import guarded
from tests.faults.guarded import ended, on_a_guard, refused, spoilt_at_rest
from tests.faults.nouns import HOUR_S, Row
from tests.faults.rehearsed import Rehearsed, fault

AT_ONCE_S = 15.0
"""At a start or an answer: seconds, on a board that is busy."""

_NC = RelaySpec(kind="simulated", contact="NC")


def _power(
    name: str,
    breaks: str,
    how: str,
    drive: Rehearsed,
    within_s: float,
    *,
    why: str = "without power there is no heat; after it the band, and the length of the gap is told",
    may_freeze: bool = False,
) -> Row:
    return Row(
        id=name,
        of="power",
        breaks=breaks,
        how=how,
        told=drive.told,
        within_s=within_s,
        heat="band",
        why=why,
        may_freeze=may_freeze,
        drive=drive,
    )


def _disk(name: str, breaks: str, kind: str) -> Row:
    return Row(
        id=name,
        of="disk",
        breaks=breaks,
        how="in every write and sync",
        told="alarm disk",
        within_s=330.0,
        heat="band",
        why="heat hangs on no disk; lines wait in memory",
        drive=Rehearsed(told="alarm disk", faults=(fault(kind),)),
    )


def _file(name: str, breaks: str, how: str, file: str, data: bytes | None) -> Row:
    return Row(
        id=name,
        of="disk",
        breaks=breaks,
        how=how,
        told="alarm settings-recovered",
        within_s=AT_ONCE_S,
        heat="band",
        why="the last-good copy, or defaults that protect pipes",
        drive=spoilt_at_rest(file, data),
    )


def _person(name: str, breaks: str, words: tuple[str, ...]) -> Row:
    return Row(
        id=name,
        of="person",
        breaks=breaks,
        how=f"`overwinter {' '.join(words)}`",
        told="answer",
        within_s=AT_ONCE_S,
        heat="band",
        why="refused with what is allowed; nothing changed",
        drive=refused(words),
    )


ROWS = (
    _power(
        "power-cut",
        "the power is away for two hours",
        "guard and heater stop; what was not synced is torn off",
        Rehearsed(told="event gap", faults=(fault("power-cut", 2.0),), settles_s=2.1 * HOUR_S, hours=14.0),
        2.2 * HOUR_S,
        may_freeze=True,
    ),
    _power(
        "power-flaps",
        "the power comes and goes, six times in an hour",
        "six cuts of six minutes",
        Rehearsed(
            told="event gap",
            faults=tuple(fault("power-cut", 0.1, at_h=2.0 + 0.17 * number) for number in range(6)),
            settles_s=1.2 * HOUR_S,
        ),
        1.2 * HOUR_S,
        why="such starts are no bad starts: nothing is set aside",
    ),
    _power(
        "guard-killed",
        "the guard is killed for ten minutes",
        "the process ends and is started again",
        Rehearsed(told="event gap", faults=(fault("guard-killed", 1 / 6),), settles_s=700.0),
        700.0,
        why="a released relay (NO) meanwhile, the band after it",
    ),
    Row(
        id="guard-gone-with-nc",
        of="power",
        breaks="the guard is gone for two hours, its contact wired NC",
        how="the process ends; the released relay heats",
        told="event gap",
        within_s=2.2 * HOUR_S,
        heat="band",
        why="NC heats without a guard, bounded by the high limit; the band after it",
        drive=Rehearsed(
            told="event gap",
            faults=(fault("guard-killed", 2.0),),
            relay=_NC,
            settles_s=4 * HOUR_S,
            hours=10.0,
        ),
    ),
    Row(
        id="guard-crashes",
        of="power",
        breaks="the process dies at once",
        how="SIGKILL to the real process, and a start after it",
        told="event start",
        within_s=AT_ONCE_S,
        heat="band",
        why="the relay's line is let go; a start without a stop is on record",
        drive=ended(signal.SIGKILL),
    ),
    Row(
        id="guard-freezes",
        of="power",
        breaks="the process is alive and does nothing",
        how="SIGSTOP to the real process under a watchdog of 2 s",
        told="watchdog",
        within_s=10.0,
        heat="band",
        why="only a finished turn feeds the watchdog: the manager kills and starts again",
        drive=on_a_guard(guarded.frozen),
    ),
    Row(
        id="start-fails-again-and-again",
        of="power",
        breaks="a mistake of the program that a file brings about at each start",
        how="a program that chokes on settings.toml, started three times",
        told="alarm settings-recovered",
        within_s=AT_ONCE_S,
        heat="band",
        why="the third start sets the suspects aside and guards on defaults that protect pipes",
        drive=on_a_guard(guarded.poisoned),
    ),
    Row(
        id="two-guards",
        of="person",
        breaks="a second guard is started on the same house",
        how="`overwinter guard` beside the running one",
        told="exit",
        within_s=AT_ONCE_S,
        heat="band",
        why="the state folder is held by one; the relay is not touched",
        drive=on_a_guard(guarded.second_guard),
    ),
    _disk("disk-full", "the disk is full", "disk-full"),
    _disk("disk-read-only", "the file system went read-only", "disk-read-only"),
    Row(
        id="disk-stuck",
        of="disk",
        breaks="writes do not come back for two hours",
        how="no write returns",
        told="",
        within_s=None,
        heat="band",
        why="the wheel waits for no disk; lines wait in memory and are written after it",
        is_dangerous=False,
        drive=Rehearsed(faults=(fault("disk-stuck", 2.0),)),
    ),
    Row(
        id="logs-folder-gone",
        of="disk",
        breaks="there is no folder for the logbook",
        how="a file stands in its place",
        told="alarm disk",
        within_s=AT_ONCE_S,
        heat="band",
        why="it starts and heats with nothing writable",
        drive=on_a_guard(guarded.no_logs_folder),
    ),
    _file("settings-emptied", "a cut emptied settings.toml", "0 bytes at a start", "settings.toml", b""),
    _file(
        "settings-garbage",
        "settings.toml is garbage",
        "noise at a start",
        "settings.toml",
        b"\xff\x00band = [",
    ),
    _file("settings-gone", "settings.toml is gone", "no file at a start", "settings.toml", None),
    _file(
        "settings-one-bad-value",
        "one value in settings.toml is out of range",
        "band.low = 999 at a start",
        "settings.toml",
        b'unit = "F"\n[band]\nlow = 999.0\n[sampling]\nsense_s = 1.0\n[filter]\nwindow = 1\n'
        b"max_rate_per_min = 600.0\n[relay]\nmin_on_s = 0.0\nmin_off_s = 0.0\n",
    ),
    _file(
        "site-broken", "site.toml is broken after it ran once", "no TOML at a start", "site.toml", b"[relay\n"
    ),
    Row(
        id="site-broken-at-first-start",
        of="disk",
        breaks="site.toml is broken and nothing ever ran",
        how="no TOML and no copy",
        told="exit",
        within_s=AT_ONCE_S,
        heat="released",
        why="nobody says which pin the heater is on: a wrong one could switch anything",
        drive=on_a_guard(guarded.no_site),
    ),
    Row(
        id="counters-garbage",
        of="disk",
        breaks="the file of counters is garbage",
        how="noise at a start",
        told="",
        within_s=None,
        heat="band",
        why="what cannot be read counts for nothing; the logbook has the counters too",
        is_dangerous=False,
        drive=spoilt_at_rest("state.json", b"\x00\xff{", code=""),
    ),
    Row(
        id="logbook-torn",
        of="disk",
        breaks="a cut left half a line in the logbook",
        how="half a line and noise at its end",
        told="",
        within_s=None,
        heat="band",
        why="it is cut off before the next line, and hides no neighbour",
        is_dangerous=False,
        drive=on_a_guard(guarded.logbook_torn),
    ),
    Row(
        id="sensor-driver-gone",
        of="sensor",
        breaks="the kernel's driver of the sensor is gone",
        how="its files vanish beneath a real guard, lost_after_s = 3",
        told="answer",
        within_s=AT_ONCE_S,
        heat="on",
        why="blind in freeze: heat is on, and the status says blind",
        drive=on_a_guard(guarded.sensor_files_gone),
    ),
    *(
        Row(
            id=name,
            of="clock",
            breaks=breaks,
            how=f"the wall clock is set by {by:.0f} s",
            told="event clock",
            within_s=30.0,
            heat="band",
            why="decisions see only the time since boot",
            is_dangerous=False,
            drive=Rehearsed(told="event clock", faults=(fault("clock-jump", by=by),)),
        )
        for name, breaks, by in (
            ("clock-a-day-back", "the clock is set back by a day", -86_400.0),
            ("clock-a-year-ahead", "the clock is a year ahead", 31_536_000.0),
            ("clock-an-hour-ahead", "somebody sets summer time by hand", 3600.0),
        )
    ),
    _person("band-too-cold", "a low end near freezing", ("band", "31F", "40F")),
    _person("band-upside-down", "a band upside down", ("band", "40F", "36F")),
    _person("setting-absurd", "a setting far out of range", ("set", "sampling.sense_s=0")),
    _person("setting-misspelt", "a setting that does not exist", ("set", "band.lwo=36F")),
    _person("heat-without-end", "heat by hand for a week", ("heat", "on", "--for", "7d")),
    Row(
        id="low-setting",
        of="person",
        breaks="a low end near freezing, although it was advised against",
        how="`set band.low=33 --anyway`",
        told="alarm low-setting",
        within_s=AT_ONCE_S,
        heat="band",
        why="as asked; it stays on show as an alarm",
        drive=on_a_guard(guarded.low_setting),
    ),
    Row(
        id="edited-to-nonsense",
        of="person",
        breaks="nonsense in a hand-edited settings.toml, then a reload",
        how="band.low = 99 and SIGHUP",
        told="event refused",
        within_s=AT_ONCE_S,
        heat="band",
        why="the running values stay",
        drive=on_a_guard(guarded.edited_to_nonsense),
    ),
    Row(
        id="garbage-on-the-socket",
        of="person",
        breaks="garbage and absurd numbers on the socket",
        how="bytes, 1e999, 900 brackets",
        told="answer",
        within_s=AT_ONCE_S,
        heat="band",
        why="each line is refused by itself; nothing changes",
        drive=on_a_guard(guarded.garbage_on_the_socket),
    ),
    Row(
        id="silent-clients",
        of="person",
        breaks="clients that connect and say nothing",
        how="twelve connections",
        told="",
        within_s=None,
        heat="band",
        why="no client can hold up a turn",
        is_dangerous=False,
        drive=on_a_guard(guarded.silent_clients),
    ),
    Row(
        id="stranger-changes-settings",
        of="person",
        breaks="a local user outside the group asks for mode observe",
        how="another user over the socket",
        told="answer",
        within_s=AT_ONCE_S,
        heat="band",
        why="who asks is what the kernel says; refused",
        drive=on_a_guard(guarded.stranger),
    ),
)
