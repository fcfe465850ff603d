"""A headless browser for whatever this program shows in one: what a person sees, hears and presses.

The browser is the machine's own chromium (Debian: `chromium`), driven by playwright; where either is missing,
the tests are skipped and say so.
"""

import shutil
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import Browser, Page

FLAGS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
SERIOUS = {"serious", "critical"}


@dataclass
class Watched:
    """A page, and all that it said or asked for behind its reader's back."""

    page: "Page"
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def complaints(self) -> list[str]:
        """Errors on the console, exceptions, and requests beyond the page's own file or server."""
        return [*self.said, *self.asked]

    def violations(self) -> list[str]:
        """What axe-core finds serious, in one line each."""
        from axe_playwright_python.sync_playwright import Axe

        found: dict[str, Any] = Axe().run(self.page).response
        assert found["passes"], "it has looked at something"
        return [
            f"{one['id']}: {one['help']}: {[node['target'] for node in one['nodes']]}"
            for one in found["violations"]
            if one["impact"] in SERIOUS
        ]


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    """Chromium with a new, empty profile; gone with the file: its driver holds this thread's event loop."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.skip("chromium is not installed: apt-get install chromium")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed here")
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=path, headless=True, args=list(FLAGS))
        yield chromium
        chromium.close()


@pytest.fixture
def look(browser: "Browser") -> "Iterator[Callable[..., Watched]]":
    """Opens an address: `look(url, width=360, dark=True)`."""
    contexts = []

    def look(url: str, *, width: int = 1100, height: int = 900, dark: bool = False, **more: Any) -> Watched:
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme="dark" if dark else "light",
            timezone_id="Pacific/Auckland",  # the reader's zone is not the house's
            **more,
        )
        contexts.append(context)
        watched = Watched(context.new_page())
        watched.page.set_default_timeout(10_000)
        watched.page.on("console", lambda message: watched.said.append(f"{message.type}: {message.text}"))
        watched.page.on("pageerror", lambda error: watched.said.append(str(error)))
        parts = urlsplit(url)
        own = url if parts.scheme == "file" else f"{parts.scheme}://{parts.netloc}/"
        watched.page.on(
            "request",
            lambda request: watched.asked.append(request.url) if not request.url.startswith(own) else None,
        )
        watched.page.goto(url)
        return watched

    yield look
    for context in contexts:
        with suppress(Exception):
            context.close()
