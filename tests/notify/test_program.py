"""Programs that do what programs do; each is a real process."""

import sys
import time
from pathlib import Path

from overwinter.notify.program import run


def python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def is_alive(pid: int) -> bool:
    """Running, and not only waiting to be collected by whoever adopted it."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_what_goes_in_and_what_comes_out() -> None:
    ended = run(
        python(
            "import sys, os; print(sys.stdin.read() + os.environ['WELL']); print('psst', file=sys.stderr)"
        ),
        timeout_s=10.0,
        stdin="36 °F ".encode(),
        environment={"WELL": "orchard", "PYTHONIOENCODING": "utf-8"},
    )

    assert (ended.code, ended.out.decode(), ended.err, ended.error) == (0, "36 °F orchard\n", b"psst\n", None)


def test_a_failure_says_its_code_and_its_last_words() -> None:
    ended = run(python("import sys; print('one'); sys.exit('no route to owner')"), timeout_s=10.0)

    assert (ended.code, ended.error) == (1, "exit code 1: no route to owner")


def test_a_missing_program_is_no_exception() -> None:
    ended = run(["/nowhere/tell"], timeout_s=1.0)

    assert ended.code is None
    assert ended.error == "/nowhere/tell cannot be started: No such file or directory"


def test_a_word_that_no_program_can_take_is_no_exception() -> None:
    assert "cannot be started" in (run(["/bin/echo", "a\0b"], timeout_s=1.0).error or "")


def test_a_hanging_program_is_ended_with_its_children(tmp_path: Path) -> None:
    code = (
        "import os, subprocess, sys, time, pathlib;"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)']);"
        f"pathlib.Path({str(tmp_path / 'pids')!r}).write_text(f'{{os.getpid()}} {{child.pid}}');"
        "time.sleep(60)"
    )
    began = time.monotonic()
    ended = run(python(code), timeout_s=2.0)

    assert time.monotonic() - began < 6.0
    assert ended.code is None
    assert ended.error == "not done after 2 s, so it was ended"
    pids = [int(word) for word in (tmp_path / "pids").read_text().split()]
    assert len(pids) == 2
    deadline = time.monotonic() + 5.0
    while any(map(is_alive, pids)):
        assert time.monotonic() < deadline
        time.sleep(0.02)


def test_a_flood_is_read_to_its_end_and_mostly_forgotten() -> None:
    ended = run(
        python("import sys; sys.stdout.write('x' * 5_000_000); sys.exit(3)"), timeout_s=20.0, keep_bytes=1000
    )

    assert ended.code == 3, "it could write all it wanted"
    assert len(ended.out) == 1000


def test_a_program_that_does_not_read_is_not_waited_for() -> None:
    ended = run(python("print('done')"), timeout_s=20.0, stdin=b"x" * 5_000_000)

    assert (ended.code, ended.out) == (0, b"done\n")


def test_what_is_left_running_behind_a_program_does_not_hold_us() -> None:
    code = "import subprocess, sys; subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)'])"
    ended = run(python(code), timeout_s=30.0)

    assert ended.code == 0
    assert ended.took_s < 10.0


def test_a_program_closing_its_streams_early_is_still_bounded() -> None:
    ended = run(
        python("import os, time; os.close(0); os.close(1); os.close(2); time.sleep(60)"), timeout_s=1.5
    )

    assert ended.code is None
    assert ended.took_s < 6.0


def test_what_may_not_be_run_says_so(tmp_path: Path) -> None:
    plain = tmp_path / "plain"
    plain.write_text("text")

    assert run([str(plain)], timeout_s=1.0).error == f"{plain} cannot be started: Permission denied"
