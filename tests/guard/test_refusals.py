from overwinter.guard.refusals import A_MINUTE, Refusals
from tests.guard.house import House


def test_a_refusal_is_recorded_again_after_a_minute_and_for_each_user() -> None:
    refusals = Refusals()

    assert [refusals.may_tell(1000, 1000.0) for _ in range(A_MINUTE + 3)] == [True] * A_MINUTE + [False] * 3
    assert refusals.may_tell(1001, 1000.0)
    assert not refusals.may_tell(1000, 1059.9)
    assert refusals.may_tell(1000, 1060.0)


def test_users_are_forgotten_after_a_minute() -> None:
    refusals = Refusals()
    for uid in range(1000):
        refusals.may_tell(uid, float(uid))

    assert len(refusals._told_s) <= 61


def test_a_loop_of_refused_changes_fills_no_logbook(house: House) -> None:
    """Also one who may change cannot push history out of the logbook with nonsense."""
    house.start()
    for number in range(40):
        house.call("set", {"changes": {"band.low": 500 + number}})
    house.call("note", {"text": "the end"})
    house.until(lambda: bool(house.events("note")), "recorded")

    assert 1 <= len(house.events("refused")) <= A_MINUTE + 1
