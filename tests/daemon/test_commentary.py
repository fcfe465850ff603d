"""The running commentary."""

import io
import subprocess
import sys

from overwinter.daemon.commentary import Repeats

DAY_S = 86400


def test_a_sensor_that_fails_for_a_day_costs_ten_lines() -> None:
    repeats = Repeats()
    counted = [repeats.count("by the pump fails", float(now_s)) for now_s in range(0, DAY_S, 10)]
    lines = [count for count in counted if count]

    assert 3 <= len(lines) <= 10
    assert sum(lines) > 0.8 * len(counted)  # the last four hours are not yet told


def test_a_sensor_that_flutters_all_day_costs_ten_lines_too() -> None:
    repeats = Repeats()
    lines = [repeats.count("flutters", float(now_s)) for now_s in range(0, DAY_S, 70)]

    assert len([count for count in lines if count]) <= 10


def test_after_an_hour_of_peace_a_fault_is_new() -> None:
    repeats = Repeats()
    assert repeats.count("fails", 0.0) == 1
    assert repeats.count("fails", 1.0) == 0
    assert repeats.count("fails", 3602.0) == 1


def test_two_faults_are_told_apart() -> None:
    repeats = Repeats()
    assert repeats.count("one", 0.0) == 1
    assert repeats.count("other", 0.0) == 1


SAY = """
from overwinter.daemon import commentary
commentary.configure()
commentary.get().warning("sensor lost", sensor="by the pump", age_s=131.0)
"""


def said(**environment: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", SAY],
        env={"PATH": "/usr/bin:/bin", **environment, **_path()},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == ""
    return done.stderr


def _path() -> dict[str, str]:
    import os

    return {"PYTHONPATH": os.environ["PYTHONPATH"]} if "PYTHONPATH" in os.environ else {}


def test_under_systemd_a_line_has_its_priority() -> None:
    assert said(JOURNAL_STREAM="8:1") == "<4>sensor lost: sensor='by the pump' age_s=131.0\n"


def test_without_a_terminal_there_is_no_colour() -> None:
    text = said()

    assert "\x1b" not in text
    assert "sensor lost" in text
    assert "by the pump" in text


def test_a_stream_that_breaks_does_not_end_the_guard() -> None:
    from overwinter.daemon.commentary import _Quietly

    class Broken(io.StringIO):
        def write(self, _text: str) -> int:
            raise BrokenPipeError

        def flush(self) -> None:
            raise OSError

    stream = _Quietly(Broken())
    assert stream.write("x") == 0
    stream.flush()
