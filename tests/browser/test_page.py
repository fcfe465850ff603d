"""The page in a browser, beside a real guard: what a person sees, presses and hears."""

import json
import re
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("starlette", reason="the page needs starlette: pip install 'overwinter[web]'")
pytest.importorskip("uvicorn", reason="the page needs uvicorn: pip install 'overwinter[web]'")

from tests.browser.conftest import Watched
from tests.guard.house import QUICK, House
from tests.web.served import PASSWORD, Served, beside

Look = Callable[..., Watched]
SLOW_S = 20.0
"""The guard is looked at every 5 s, and the machine may be busy."""

HOSTILE = '"><script>bad=1</script><img src=x onerror=bad=1>&#x27;'
FEATURED = "a\"'<b onmouseover=bad=1>"


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    house = House(tmp_path_factory.mktemp("house"))
    house.reads(3.0)
    house.site.write_text(house.site.read_text().replace('"bench"', '"mill house"'))
    house.start()
    house.set(*QUICK, "sampling.record_s=1", "unit=C")
    yield house
    house.close()


@pytest.fixture(scope="module")
def day(house: House, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook of a day, to which a test may add."""
    folder = tmp_path_factory.mktemp("day")
    begins = datetime.now(UTC) - timedelta(minutes=1430)
    with (folder / "logbook.jsonl").open("w") as file:
        for minute in range(1430):
            file.write(line(begins + timedelta(minutes=minute), 3.0 + minute % 50 / 50))
    return folder


def line(at: datetime, inside_c: float, **more: object) -> str:
    t = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    fields = {"t": t, "up": at.timestamp() % 1e6, "boot": "b", "event": "sample", "temperature_c": inside_c}
    fields |= {"humidity_pct": 71.0, "flag": 1, "heat": 0.4, "mode": "freeze", "low_c": 2.0, "high_c": 4.0}
    return json.dumps(fields | more) + "\n"


@pytest.fixture(scope="module")
def page(house: House, day: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """What only shows, with the day's logbook."""
    folder = tmp_path_factory.mktemp("page")
    served = Served(folder, site=house.site.read_text(), socket_path=house.socket, logs=day)
    served.start()
    yield served
    served.close()


@pytest.fixture(scope="module")
def changing(house: House, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """What takes changes."""
    served = beside(house, folder=tmp_path_factory.mktemp("changing"), change=True)
    served.start()
    yield served
    served.close()


def drawn(watched: Watched) -> Watched:
    watched.page.locator("#panel-heat canvas").wait_for()
    return watched


def wait(watched: Watched, what: str) -> None:
    """Asked from outside: the page's policy allows no script but its own, a waiting one either."""
    ends_s = time.monotonic() + SLOW_S
    while not watched.page.evaluate(f"Boolean({what})"):
        assert time.monotonic() < ends_s, what
        watched.page.wait_for_timeout(100)


def shown(watched: Watched) -> str:
    return watched.page.locator("#view").inner_text()


def test_what_is_and_what_was_stand_there_and_nothing_is_complained_of(look: Look, page: Served) -> None:
    watched = drawn(look(page.url))
    text = watched.page.locator("#now").inner_text()

    assert watched.page.title() == "mill house"
    assert "All is well" in text
    assert "3.0 °C" in text
    assert "Heat is off" in text
    assert "2.22 to 4.44 C (36 to 40 F)" in text
    assert "No alarm." in text
    assert watched.page.locator("#record .summary").inner_text().startswith("Inside it was 3.0 to 4.0 °C")
    band = watched.page.evaluate(
        """() => {
          const hex = getComputedStyle(document.documentElement).getPropertyValue("--band").trim();
          const [r, g, b] = [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16));
          const canvas = document.querySelector("#panel-temperature canvas");
          const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
          let count = 0;
          for (let at = 0; at < data.length; at += 4)
            if (data[at] === r && data[at + 1] === g && data[at + 2] === b) count++;
          return count;
        }"""
    )
    assert band > 1000, "the band is shaded"
    assert watched.complaints() == []


def test_how_much_is_shown_is_the_readers_choice(look: Look, page: Served) -> None:
    watched = drawn(look(page.url))
    assert watched.page.locator("a[aria-current]").inner_text() == "Last day"

    watched.page.get_by_role("link", name="Season").click()
    drawn(watched)

    assert watched.page.locator("a[aria-current]").inner_text() == "Season"
    assert watched.page.url.endswith("?span=season")
    assert watched.complaints() == []


def test_the_number_moves_without_a_reload_and_nothing_else_does(
    look: Look, page: Served, house: House
) -> None:
    watched = drawn(look(page.url))
    watched.page.evaluate("window.mark = 1")
    watched.page.locator('[aria-label="Sensors"]').focus()
    house.reads(3.7)
    try:
        wait(watched, "document.querySelector('.reading').textContent.includes('3.7')")
    finally:
        house.reads(3.0)
    assert watched.page.evaluate("window.mark") == 1
    assert watched.page.evaluate("document.activeElement.getAttribute('aria-label')") == "Sensors"
    assert watched.complaints() == []


def test_alarms_stand_first_with_what_to_do(look: Look, tmp_path: Path) -> None:
    house = House(tmp_path)
    served = None
    try:
        house.reads(3.0)
        house.start()
        house.set(*QUICK, "unit=C")
        served = beside(house)
        served.start()
        watched = look(served.url, width=360)
        house.reads(-2.0)
        wait(watched, "document.querySelector('.alarms')")
        assert watched.page.locator(".grade").inner_text() == "Somebody has to go there"
        first = watched.page.locator(".alarms li").first
        assert first.inner_text().startswith("cold since ")
        assert "What to do: go and see: is the door shut" in first.inner_text()
        assert watched.page.evaluate("document.documentElement.scrollWidth") == 360
        bars = first.evaluate("one => getComputedStyle(one).borderLeftStyle")
        assert bars == "double", "not by its colour alone"
        box, facts = first.bounding_box(), watched.page.locator("#now dl").bounding_box()
        assert box is not None
        assert facts is not None
        assert box["y"] < facts["y"]
    finally:
        if served is not None:
            served.close()
        house.close()


def test_a_link_that_is_lost_is_said_and_mends_itself(look: Look, house: House, tmp_path: Path) -> None:
    served = beside(house, folder=tmp_path / "web")
    served.start()
    try:
        watched = look(served.url)
        wait(watched, "document.querySelector('.reading')")
        served.stop()
        wait(
            watched,
            "document.getElementById('link').textContent.includes('The link to the pump house is lost')",
        )
        served.start()
        wait(watched, "document.getElementById('link').textContent === ''")
        assert "3.0 °C" in watched.page.locator("#now").inner_text()
    finally:
        served.close()


def test_a_guard_that_is_away_is_said_and_nothing_old_is_shown(
    look: Look, page: Served, house: House
) -> None:
    watched = look(page.url)
    wait(watched, "document.querySelector('.reading')")
    house.stop()
    try:
        wait(watched, "document.querySelector('.unknown')")
        assert "The guard does not answer" in watched.page.locator("#now").inner_text()
        said = watched.page.locator("#now").inner_text()
        assert any(why in said for why in ("There is no socket", "is gone", "closed the connection"))
        assert "°C" not in watched.page.locator("#now").inner_text()
    finally:
        house.start()
    wait(watched, "document.querySelector('.reading')")


def zoomed(watched: Watched) -> str:
    over = watched.page.locator("#panel-temperature .u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    assert box is not None
    y = box["y"] + 40
    watched.page.mouse.move(box["x"] + box["width"] * 0.3, y)
    watched.page.mouse.down()
    watched.page.mouse.move(box["x"] + box["width"] * 0.5, y, steps=4)
    watched.page.mouse.up()
    return shown(watched)


def test_who_looks_closer_loses_nothing_when_new_samples_come(
    look: Look, page: Served, house: House, day: Path
) -> None:
    watched = look(page.url)
    # What the page waits for half a minute for, at once.
    watched.page.add_init_script("const real = Date.now; Date.now = () => real() * 1000;")
    watched.page.reload()
    drawn(watched)
    whole = shown(watched)
    closer = zoomed(watched)
    assert closer != whole
    watched.page.locator("details summary").click()
    words = watched.page.locator("#record .summary").inner_text()
    watched.page.locator("#record .summary").evaluate("one => (one.mark = 1)")
    with (day / "logbook.jsonl").open("a") as file:
        file.write(line(datetime.now(UTC), 19.5))

    wait(watched, f"document.querySelector('#record .summary').textContent !== {json.dumps(words)}")

    assert "to 19.5 °C" in watched.page.locator("#record .summary").inner_text()
    assert shown(watched) == closer
    assert watched.page.locator("details table").is_visible(), "the table stays open"
    assert watched.page.locator("#record .summary").evaluate("one => one.mark") == 1
    watched.page.locator("#all").click()
    watched.page.locator("#time").focus()
    watched.page.keyboard.press("End")
    told = watched.page.locator("#readout").inner_text()
    assert "19.5" in told
    assert watched.complaints() == []


def test_looking_closer_at_a_season_brings_the_samples_that_were_left_out(
    look: Look, house: House, tmp_path: Path
) -> None:
    """An hour in which every other minute is warmer: of a month's drawing it keeps few of them."""
    logs = tmp_path / "logs"
    logs.mkdir()
    begins = datetime.now(UTC).replace(microsecond=0) - timedelta(days=30)
    with (logs / "logbook.jsonl").open("w") as file:
        for minute in range(30 * 1440):
            file.write(line(begins + timedelta(minutes=minute), 3.0 + minute % 2))
    served = Served(tmp_path / "web", site=house.site.read_text(), socket_path=house.socket, logs=logs)
    served.start()
    try:
        watched = drawn(look(f"{served.url}?span=season"))
        with watched.page.expect_response(re.compile(r"/record\?from=\d+&to=\d+$")) as found:
            for _ in range(6):
                watched.page.locator("#closer").click()
        told: dict[str, Any] = found.value.json()
        assert told["picture"]["to"] - told["picture"]["from"] < 86_400
        watched.page.locator("#time").focus()
        seen = set()
        for _ in range(8):
            watched.page.keyboard.press("ArrowLeft")
            rows = watched.page.locator("#readout").inner_text()
            seen.add(re.search(r"inside\s+(.*)", rows)[1])  # type: ignore[index]
        assert seen <= {"3.0 °C", "4.0 °C", "3.0 to 4.0 °C"}
        assert watched.complaints() == []
    finally:
        served.close()


def test_by_keyboard_alone_a_band_is_changed_and_the_guard_has_it(
    look: Look, changing: Served, house: House
) -> None:
    watched = look(changing.url)
    page = watched.page
    page.get_by_role("link", name="Sign in").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/sign-in")
    page.wait_for_function("document.activeElement.type === 'password'")  # by itself
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/#change")
    page.get_by_label("Heat goes on at or below").focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("1,5")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.name") == "high"
    page.keyboard.press("Enter")
    page.wait_for_url("**/#told")
    try:
        assert page.locator("#told").inner_text() == "Saved. band.low: 2.22 C -> 1.5 C"
        assert house.status()["band"]["low_c"] == 1.5
        wait(watched, "document.querySelector('#now dl').textContent.includes('1.5 to 4.44 C')")
    finally:
        house.set("band.low=36F")
    page.get_by_label("Heat goes on at or below").fill("0.2")
    page.get_by_role("button", name="Save").click()
    page.locator("#told", has_text="Refused").wait_for()
    assert "pipes may freeze" in page.locator("#told").inner_text()
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("link", name="Sign in").wait_for()
    assert page.locator("form").count() == 0
    assert watched.complaints() == []


def test_hostile_names_and_notes_are_only_text(look: Look, tmp_path: Path) -> None:
    house = House(tmp_path)
    served = None
    house.reads(3.0)
    text = house.site.read_text().replace('"bench"', json.dumps(HOSTILE))
    house.site.write_text(text.replace('"by the pump"', json.dumps(FEATURED)))
    try:
        house.start()
        served = beside(house, change=True)
        served.start()
        house.set(*QUICK, "sampling.record_s=1")
        house.call("note", {"text": HOSTILE})
        house.until(lambda: len(house.events("sample")) >= 3, "some samples")
        house.reads(None)  # an error with a path in it
        watched = drawn(look(served.url))
        page = watched.page
        page.locator("#record", has_text="<script>bad=1</script>").wait_for()
        assert page.locator("h1").inner_text() == HOSTILE
        assert page.locator(".sensors th[scope=row]").inner_text() == FEATURED
        wait(watched, "document.querySelector('#now').textContent.includes('nothing came')")
        page.goto(f"{served.url}sign-in")
        assert page.locator("h1").inner_text() == HOSTILE
        assert page.evaluate("window.bad") is None
        assert page.locator("img, b, main script").count() == 0
        assert watched.complaints() == []
    finally:
        if served is not None:
            served.close()
        house.close()


@pytest.mark.parametrize(("width", "dark"), [(1100, False), (360, True)], ids=["light", "narrow and dark"])
def test_axe_finds_nothing_serious(
    look: Look, page: Served, changing: Served, width: int, dark: bool
) -> None:
    watched = drawn(look(page.url, width=width, dark=dark, bypass_csp=True))  # axe is a script from outside
    assert watched.violations() == []
    watched = look(f"{changing.url}sign-in", width=width, dark=dark, bypass_csp=True)
    assert watched.violations() == []
    watched.page.get_by_label("Password").fill(PASSWORD)
    watched.page.get_by_role("button", name="Sign in").click()
    drawn(watched)
    assert watched.page.get_by_label("Mode").is_visible()
    assert watched.violations() == []


def test_on_a_phone_nothing_sticks_out_and_all_can_be_pressed(look: Look, changing: Served) -> None:
    watched = drawn(look(changing.url, width=360, height=740))
    assert watched.page.evaluate("document.documentElement.scrollWidth") == 360
    for pressed in watched.page.locator("button:visible, a:visible, input:visible, select:visible").all():
        box = pressed.bounding_box()
        assert box is not None
        assert box["height"] >= 24, "WCAG 2.5.8"


def test_dark_is_dark_and_paper_is_white_without_what_is_pressed(look: Look, page: Served) -> None:
    watched = drawn(look(page.url, dark=True))
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    assert watched.page.evaluate(ground) == "rgb(19, 24, 27)"

    watched.page.emulate_media(media="print")

    assert watched.page.evaluate(ground) == "rgb(255, 255, 255)"
    assert watched.page.locator("svg.still").is_visible()
    assert watched.page.locator(".reading").is_visible()
    assert not watched.page.locator("nav").is_visible()
    assert not watched.page.locator("#time").is_visible()
    assert len(re.findall(rb"/Type\s*/Page\b", watched.page.pdf(format="A4"))) <= 3


def test_without_a_script_the_state_and_the_form_are_there(look: Look, changing: Served) -> None:
    page = look(f"{changing.url}sign-in", java_script_enabled=False).page
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/#change")

    assert "°C" in page.locator("#now").inner_text()
    assert page.get_by_role("button", name="Save").is_visible()
