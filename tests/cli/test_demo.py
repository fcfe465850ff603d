"""The demonstration, as a newcomer sees it: short, and much faster than life."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from overwinter.core.units import c_from_f
from overwinter.show.night import WIDTH, heading, line, strip


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> subprocess.CompletedProcess[str]:
    temporary = tmp_path_factory.mktemp("demo")
    return subprocess.run(
        [sys.executable, "-m", "overwinter", "demo", "--speed", "2400", "--hours", "7.5"],
        env={**os.environ, "TMPDIR": str(temporary), "OVERWINTER_STATE": "/nonexistent/a-real-house"},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def folder(said: subprocess.CompletedProcess[str]) -> Path:
    found = re.search(r"What the guard leaves is in (\S+):", said.stdout)
    assert found is not None, said.stdout + said.stderr
    return Path(found[1])


def test_a_night_shows_heat_a_change_of_the_band_and_a_lost_sensor(
    said: subprocess.CompletedProcess[str],
) -> None:
    assert said.returncode == 0, said.stderr
    assert said.stderr == ""
    text = said.stdout
    assert re.search(r"^\d\d:\d\d .*ON  ", text, re.MULTILINE)
    assert re.search(r"^\d\d:\d\d .* off ", text, re.MULTILINE)
    assert "band.low: 36 F -> 38 F" in text
    assert "saved" in text
    assert re.search(r"not known .*ON +sensor-lost", text)
    assert "alarm sensor-lost raised" in text
    assert "alarm sensor-lost cleared: over after" in text
    assert text.index("sensor-lost raised") < text.index("sensor-lost cleared")


def test_what_it_leaves_is_where_it_says(said: subprocess.CompletedProcess[str]) -> None:
    left = folder(said)

    assert "low = 38.0" in (left / "state" / "settings.toml").read_text()
    assert '"event":"sample"' in (left / "logs" / "logbook.jsonl").read_text()
    assert (left / "commentary.txt").stat().st_size > 0


def test_what_it_says_to_try_next_works(said: subprocess.CompletedProcess[str]) -> None:
    tried = [part.strip() for part in said.stdout.split("What to try next:")[1].splitlines() if part.strip()]
    for command in (words for words in tried if "--logs" in words):
        done = subprocess.run(command.split(), capture_output=True, text=True, timeout=30, check=False)
        assert done.returncode == 0, done.stderr
        assert len(done.stdout.splitlines()) > 5


@pytest.mark.parametrize("words", [("--speed", "0"), ("--hours", "x"), ("--unit", "K"), ("--seed", "-1")])
def test_nonsense_is_refused(words: tuple[str, str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "overwinter", "demo", *words], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert words[0] in done.stderr


def test_the_scale_shows_band_temperature_and_freezing_without_colour() -> None:
    shown = strip(c_from_f(38.0), low_c=c_from_f(36.0), high_c=c_from_f(40.0))

    assert len(shown) == WIDTH
    assert shown.index("|") < shown.index("=") < shown.index("o") < shown.rindex("=")
    assert strip(-40.0, low_c=1.0, high_c=2.0)[0] == "o"
    assert strip(90.0, low_c=1.0, high_c=2.0)[-1] == "o"


def test_a_line_fits_a_terminal_of_80() -> None:
    status = {
        "temperature_c": None,
        "outdoor_c": -30.0,
        "band": {"low_c": 2.2, "high_c": 4.4},
        "heat": {"on": False, "reason": "sensors-disagree"},
    }
    text = line(status, clock="18:00", unit="F")

    assert len(text) <= 80
    assert "not known" in text
    assert all(len(part) <= 90 for part in heading("C").splitlines())
