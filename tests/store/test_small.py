import math
from pathlib import Path

import pytest

from overwinter.store.atomic import write_copy
from overwinter.store.small import load_state, save_state


def test_a_state_reads_back(tmp_path: Path) -> None:
    state = {"cycles": 41, "on_s": 90210.0, "proof": {"t": "2026-01-09T04:12:33.000Z"}, "learned": [1, None]}
    save_state(tmp_path / "state", state)

    assert load_state(tmp_path / "state") == state


def test_what_is_not_finite_becomes_null(tmp_path: Path) -> None:
    save_state(tmp_path / "state", {"loss_w_k": math.nan, "spread": [math.inf, 1.0]})

    assert load_state(tmp_path / "state") == {"loss_w_k": None, "spread": [None, 1.0]}


def test_a_state_cut_anywhere_is_none(tmp_path: Path) -> None:
    path = tmp_path / "state"
    save_state(path, {"cycles": 41})
    whole = path.read_bytes()
    for size in range(len(whole)):
        path.write_bytes(whole[:size])

        assert load_state(path) is None, size


@pytest.mark.parametrize("content", [b"", b"[1]", b"41", b"{", b"[" * 100_000])
def test_a_checked_copy_of_something_else_is_none(tmp_path: Path, content: bytes) -> None:
    write_copy(tmp_path / "state", content)

    assert load_state(tmp_path / "state") is None
