from overwinter.web.sessions import (
    ADDRESSES_AT_MOST,
    GUESS_S,
    GUESSES,
    IDLE_S,
    LONGEST_S,
    SESSIONS_AT_MOST,
    Guesses,
    Sessions,
    is_token,
)


def test_a_session_is_known_by_its_cookie_and_a_form_by_its_token() -> None:
    sessions = Sessions()
    cookie = sessions.begin(0.0)
    session = sessions.of(cookie, 1.0)

    assert session is not None
    assert is_token(session, session.token)
    assert not is_token(session, cookie)
    assert not is_token(session, None)
    assert not is_token(session, "é")
    assert sessions.of("guessed", 1.0) is None
    assert sessions.of(None, 1.0) is None


def test_a_session_ends_by_itself_and_by_hand() -> None:
    sessions = Sessions()
    idle, used, ended = (sessions.begin(0.0) for _ in range(3))
    sessions.end(ended)
    assert sessions.of(ended, 1.0) is None
    now_s = 0.0
    while now_s + IDLE_S / 2 < LONGEST_S:
        now_s += IDLE_S / 2
        assert sessions.of(used, now_s) is not None
    assert sessions.of(idle, now_s) is None
    assert sessions.of(used, LONGEST_S) is None, "nobody stays signed in for ever"


def test_of_too_many_the_one_unused_for_longest_ends() -> None:
    sessions = Sessions()
    cookies = [sessions.begin(float(number)) for number in range(SESSIONS_AT_MOST)]
    sessions.of(cookies[0], 50.0)
    sessions.begin(60.0)

    assert sessions.of(cookies[0], 61.0) is not None
    assert sessions.of(cookies[1], 61.0) is None


def test_guessing_ends_after_a_few_and_begins_anew_later() -> None:
    guesses = Guesses()
    for number in range(GUESSES):
        assert guesses.wait_s("a", float(number)) == 0.0
        guesses.wrong("a", float(number))

    assert guesses.wait_s("a", 10.0) == GUESS_S - 10.0
    assert guesses.wait_s("b", 10.0) == 0.0, "another address is another person"
    assert guesses.wait_s("a", GUESS_S) == 0.0


def test_many_addresses_together_may_not_go_on_either() -> None:
    guesses = Guesses()
    for number in range(4 * GUESSES):
        guesses.wrong(str(number), 0.0)

    assert guesses.wait_s("new", 1.0) > 0.0


def test_the_right_password_forgets_ones_own_mistakes() -> None:
    guesses = Guesses()
    for _ in range(GUESSES):
        guesses.wrong("a", 0.0)
    guesses.right("a")

    assert guesses.wait_s("a", 1.0) == 0.0


def test_addresses_are_bounded() -> None:
    guesses = Guesses()
    for number in range(3 * ADDRESSES_AT_MOST):
        guesses.wrong(str(number), float(number))

    assert len(guesses._wrong) == ADDRESSES_AT_MOST
