import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.store import ring as ring_module
from overwinter.store.ring import BYTES_MOST, LINES_MOST, Ring


def lines(ring: Ring) -> list[bytes]:
    return [waiting.line for waiting in ring]


def test_the_oldest_samples_go_before_any_event() -> None:
    ring = Ring()
    for number in range(LINES_MOST + 10):
        ring.push(b"%d\n" % number, urgent=number < 5, now_s=0.0)

    assert len(ring) == LINES_MOST
    assert ring.dropped == 10
    assert lines(ring)[:6] == [b"0\n", b"1\n", b"2\n", b"3\n", b"4\n", b"15\n"]


def test_without_samples_the_oldest_events_go() -> None:
    ring = Ring()
    for number in range(LINES_MOST + 1):
        ring.push(b"%d\n" % number, urgent=True, now_s=0.0)

    assert (len(ring), lines(ring)[0], ring.dropped) == (LINES_MOST, b"1\n", 1)


def test_the_bytes_are_bounded_too() -> None:
    ring = Ring()
    for _ in range(40):
        ring.push(bytes(65_536), urgent=False, now_s=0.0)

    assert sum(map(len, lines(ring))) <= BYTES_MOST
    assert (len(ring), ring.dropped) == (32, 8)


@given(
    steps=st.lists(st.tuples(st.sampled_from(["event", "sample", "fail"]), st.integers(0, 12)), max_size=40)
)
def test_whatever_fails_the_order_stays_and_each_line_is_there_or_counted(
    steps: list[tuple[str, int]],
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ring_module, "LINES_MOST", 10)
        ring = Ring()
        pushed = written = 0
        for step, number in steps:
            if step == "fail":  # so many are written, the rest come back
                taken = ring.take()
                for _ in range(min(number, len(taken))):
                    taken.popleft()
                    written += 1
                ring.put_back(taken)
            else:
                ring.push(b"%d\n" % pushed, urgent=step == "event", now_s=0.0)
                pushed += 1

            numbers = [int(line) for line in lines(ring)]
            assert numbers == sorted(numbers)
            assert len(numbers) <= 10
            assert len(numbers) + written + ring.dropped == pushed
