"""Signing in and changing, by whoever may and by whoever may not; the guard is a real one."""

import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest

from overwinter.web.sessions import GUESSES
from tests.guard.house import House
from tests.web.served import PASSWORD, Answer, Served

Serve = Callable[..., Served]
AS_IT_IS = {"was-mode": "freeze", "was-low": "2.22", "was-high": "4.44", "was-pace": "1"}
"""The values that stood in the form."""


@pytest.fixture(scope="module")
def shared(house: House) -> Iterator[Served]:
    """A page that takes changes, for tests that leave no wrong guesses behind."""
    from tests.web.served import beside

    house.set("sampling.record_s=60")  # never shorter than the pace, which is changed below
    served = beside(house, folder=house.folder / "changing", change=True)
    served.start()
    yield served
    served.close()


@pytest.fixture
def cookie(shared: Served, house: House) -> Iterator[str]:
    """Signed in; the band is put back behind the test."""
    yield shared.cookie()
    house.set("mode=freeze", "band.low=36F", "band.high=40F", "sampling.sense_s=1")


def change(page: Served, cookie: str, /, **fields: str) -> Answer:
    """The form sent, and the page that follows it."""
    token = page.ask("/", headers={"Cookie": cookie}).token
    sent = {"token": token, "mode": "freeze", "low": "2.22", "high": "4.44", "pace": "1", **AS_IT_IS}
    done = page.ask("/change", form={**sent, **fields}, headers={"Cookie": cookie})
    assert (done.code, done.headers.get("location")) == (303, "/#told"), done.text
    return page.ask("/", headers={"Cookie": cookie})


def band_c(house: House) -> tuple[float, float]:
    band = house.status()["band"]
    return round(band["low_c"], 2), round(band["high_c"], 2)


def test_who_has_not_signed_in_sees_only_where_to(shared: Served) -> None:
    text = shared.ask("/").text

    assert '<a href="/sign-in">Sign in to change mode, band or pace</a>' in text
    assert "<form" not in text


def test_the_right_password_opens_the_form_and_its_cookie_is_a_strict_one(shared: Served) -> None:
    answer = shared.sign_in()

    assert (answer.code, answer.headers["location"]) == (303, "/#change")
    cookie, *flags = answer.headers["set-cookie"].split("; ")
    assert set(flags) == {"HttpOnly", "Path=/", "SameSite=strict"}
    assert len(cookie) > len("overwinter=") + 40
    text = shared.ask("/", headers={"Cookie": cookie}).text
    assert '<form method="post" action="/change"' in text
    assert 'name="low" inputmode="decimal" autocomplete="off" required size="7" value="2.22"' in text
    assert "NOT ISOLATED" in text
    assert PASSWORD not in shared.said.read_text()


def test_behind_a_proxy_with_tls_the_cookie_never_goes_in_the_clear(shared: Served) -> None:
    answer = shared.sign_in(X_Forwarded_Proto="https", X_Forwarded_For="203.0.113.9")

    assert "; Secure" in answer.headers["set-cookie"]


def test_a_change_is_the_guards_and_is_said(shared: Served, cookie: str, house: House) -> None:
    text = change(shared, cookie, low="1.5", high="3,5", mode="warm", pace="2").text

    assert band_c(house) == (1.5, 3.5)
    assert house.status()["mode"] == "warm"
    assert "Saved. " in text
    for told in ("mode: freeze -&gt; warm", "2.22 C -&gt; 1.5 C", "4.44 C -&gt; 3.5 C", "1 s -&gt; 2 s"):
        assert told in text, told
    assert "Saved. " not in shared.ask("/", headers={"Cookie": cookie}).text, "it is said once"
    (event,) = [one for one in house.events("settings") if one["changes"].get("mode") == ["freeze", "warm"]]
    assert event["how"] == "command"


def test_what_was_not_altered_in_the_form_is_not_sent(shared: Served, cookie: str, house: House) -> None:
    """Meanwhile somebody else changed the band: a reader who alters the pace must not undo that."""
    house.set("band.low=1.2C", "band.high=3C")

    text = change(shared, cookie, pace="3").text

    assert band_c(house) == (1.2, 3.0)
    assert "Saved. sampling.sense_s: 1 s -&gt; 3 s<" in text


def test_nothing_altered_is_nothing_changed(shared: Served, cookie: str, house: House) -> None:
    assert "Nothing was different, so nothing was changed." in change(shared, cookie).text


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"low": "0.5"}, "below 1 C pipes may freeze"),
        ({"low": "9", "high": "4"}, "band.high"),
        ({"low": "cold"}, "band.low"),
        ({"low": "nan"}, "band.low"),
        ({"pace": "0"}, "sampling.sense_s"),
        ({"mode": "<script>"}, "mode"),
        ({"mode": "observe", "low": "-300"}, "band.low"),
    ],
)
def test_the_guards_refusal_is_shown_with_its_reason_and_nothing_is_changed(
    shared: Served, cookie: str, house: House, fields: dict[str, str], why: str
) -> None:
    before = house.call("settings")
    text = change(shared, cookie, **fields).text

    assert "Refused, nothing was changed: " in text
    assert why in text
    assert "<script>" not in text
    assert house.call("settings") == before


def test_anyway_cannot_be_said_from_here(shared: Served, cookie: str, house: House) -> None:
    text = change(shared, cookie, low="0.5", anyway="true", **{"limits.alarm_low": "0"}).text

    assert "Refused" in text
    assert band_c(house) == (2.22, 4.44)


def test_a_guard_that_is_away_is_said(serve: Serve, house: House) -> None:
    served = serve(change=True)
    cookie = served.cookie()
    token = served.ask("/", headers={"Cookie": cookie}).token
    house.stop()
    try:
        done = served.ask("/change", form={"token": token, "low": "1.5"}, headers={"Cookie": cookie})
        text = served.ask("/", headers={"Cookie": cookie}).text
    finally:
        house.start()
    assert done.code == 303
    assert "The guard cannot be reached, so it is not known whether this was changed" in text
    assert "nothing can be changed now" in text


FORGED: dict[str, tuple[dict[str, str], dict[str, str]]] = {
    "no token": ({"token": ""}, {}),
    "a made-up token": ({"token": "x" * 43}, {}),
    "letters beyond ASCII in the token": ({"token": "ü" * 43}, {}),
    "a page of somebody else": ({}, {"Origin": "http://elsewhere.example"}),
    "a page without an origin": ({}, {"Origin": "null"}),
    "the same machine, another port": ({}, {"Origin": "http://127.0.0.1:1"}),
    "another site, says the browser": ({}, {"Sec-Fetch-Site": "cross-site"}),
    "another host of the site": ({}, {"Sec-Fetch-Site": "same-site"}),
    "no cookie": ({}, {"Cookie": ""}),
    "a made-up cookie": ({}, {"Cookie": "overwinter=" + "x" * 43}),
}


@pytest.mark.parametrize("path", ["/change", "/sign-out"])
@pytest.mark.parametrize("forged", FORGED)
def test_a_forged_form_changes_nothing(
    shared: Served, cookie: str, house: House, path: str, forged: str
) -> None:
    fields, headers = FORGED[forged]
    token = shared.ask("/", headers={"Cookie": cookie}).token
    sent = {"token": token, "low": "1.9"} | fields

    answer = shared.ask(path, form=sent, headers={"Cookie": cookie} | headers)

    assert answer.code == 403
    assert "set-cookie" not in answer.headers
    assert band_c(house) == (2.22, 4.44)
    assert "<form" in shared.ask("/", headers={"Cookie": cookie}).text, "still signed in"


def test_the_token_of_another_session_is_worth_nothing(shared: Served, cookie: str, house: House) -> None:
    other = shared.ask("/", headers={"Cookie": shared.cookie()}).token

    assert shared.ask("/change", form={"token": other, "low": "1.9"}, headers={"Cookie": cookie}).code == 403
    assert band_c(house) == (2.22, 4.44)


def test_an_address_that_changes_something_answers_no_get(shared: Served, cookie: str) -> None:
    for path in ("/change?low=1.5", "/sign-out"):
        for method in ("GET", "HEAD", "PUT"):
            assert shared.ask(path, method=method, headers={"Cookie": cookie}).code == 405


def test_forms_that_are_none_are_refused(shared: Served, cookie: str) -> None:
    token = shared.ask("/", headers={"Cookie": cookie}).token
    bodies = {
        b"token=" + token.encode() + b"&low=" + b"1" * 5000: 413,
        b"x" * 2_000_000: 413,
        b"\xff\xfe": 400,
        b"&".join(b"f%d=1" % number for number in range(100)): 400,
        b"low=%ff%fe": 400,
        b"": 403,
        b'{"low": 1.5}': 403,
    }
    for body, code in bodies.items():
        try:
            answer = shared.ask("/change", method="POST", body=body, headers={"Cookie": cookie})
        except (BrokenPipeError, ConnectionResetError):
            assert code == 413, "refused before all of it was sent"
        else:
            assert answer.code == code, body[:40]


def test_signed_out_is_signed_out(shared: Served) -> None:
    cookie = shared.cookie()
    token = shared.ask("/", headers={"Cookie": cookie}).token

    answer = shared.ask("/sign-out", form={"token": token}, headers={"Cookie": cookie})

    assert answer.code == 303
    assert 'overwinter=""' in answer.headers["set-cookie"]
    assert "Max-Age=0" in answer.headers["set-cookie"]
    assert "<form" not in shared.ask("/", headers={"Cookie": cookie}).text
    assert shared.ask("/change", form={"token": token, "low": "1.5"}, headers={"Cookie": cookie}).code == 403


def test_a_wrong_password_lets_nobody_in_and_is_not_repeated(serve: Serve) -> None:
    served = serve(change=True)
    for wrong in ("", "x", PASSWORD + "x", PASSWORD.upper(), "y" * 1000):
        answer = served.sign_in(wrong)
        assert (answer.code, "that is not the password" in answer.text) == (403, True)
        assert "set-cookie" not in answer.headers
        assert wrong == "" or f'"{wrong}"' not in answer.text

    assert served.said.read_text().count("wrong password") == GUESSES
    answer = served.sign_in()
    assert answer.code == 429, f"after {GUESSES} the right one has to wait too"
    assert "too many wrong passwords; try again in 15 min" in answer.text


def test_many_addresses_together_may_not_guess_on_either(serve: Serve) -> None:
    served = serve(change=True)
    token = served.ask("/sign-in").token

    def guess(number: int) -> int:
        form = {"token": token, "password": f"guess {number}"}
        return served.ask("/sign-in", form=form, headers={"X-Forwarded-For": f"203.0.113.{number}"}).code

    with ThreadPoolExecutor(12) as many:
        codes = list(many.map(guess, range(60)))

    assert codes.count(403) == 4 * GUESSES, "not one more, also when they come at the same time"
    assert codes.count(429) == 60 - 4 * GUESSES


def test_while_somebody_guesses_the_page_stays_quick(serve: Serve, house: House) -> None:
    served = serve(change=True)
    token = served.ask("/sign-in").token
    served.ask("/")

    def guess(number: int) -> int:
        return served.ask("/sign-in", form={"token": token, "password": f"guess {number}"}).code

    took_s = []
    with ThreadPoolExecutor(8) as many:
        codes = many.map(guess, range(40))
        for _ in range(10):
            began_s = time.monotonic()
            assert served.ask("/").code == 200
            took_s.append(time.monotonic() - began_s)
        assert set(codes) == {403, 429}
    took_s.sort()
    print(f"the page while 8 guess: median {took_s[5] * 1000:.0f} ms, worst {took_s[-1] * 1000:.0f} ms")
    assert took_s[5] < 0.3


def test_off_this_machine_a_password_in_the_clear_is_warned_of(house: House, serve: Serve) -> None:
    served = serve(change=True, more='\n[web]\nbind = "0.0.0.0"\nport = PORT\nchange = true\n')

    for path in ("/", "/sign-in"):
        assert "Not encrypted: a password typed here can be read on the way." in served.ask(path).text
        assert "Not encrypted" not in served.ask(path, headers={"X-Forwarded-Proto": "https"}).text
    assert "not encrypted" in served.said.read_text()


def test_on_this_machine_nothing_is_warned_of(shared: Served) -> None:
    assert "Not encrypted" not in shared.ask("/").text


def test_without_a_password_nothing_can_be_changed_and_that_is_said(serve: Serve) -> None:
    served = serve(more="\n[web]\nport = PORT\nchange = true\n")

    text = served.ask("/").text
    assert "there is no password yet: see `overwinter web --help`" in text
    assert "<form" not in text
    assert served.ask("/sign-in").code == 404
    assert "there is no password" in served.said.read_text()
