"""A bench house with its guard, and its page, once for a file; each test may bring a page of its own."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

pytest.importorskip("starlette", reason="the page needs starlette: pip install 'overwinter[web]'")
pytest.importorskip("uvicorn", reason="the page needs uvicorn: pip install 'overwinter[web]'")

from tests.guard.house import QUICK, House
from tests.web.served import Served, beside


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """A guard that runs."""
    house = House(tmp_path_factory.mktemp("house"))
    house.reads(3.0)
    house.start()
    house.set(*QUICK, "sampling.record_s=1", "unit=C")
    yield house
    house.close()


@pytest.fixture(scope="module")
def page(house: House) -> Iterator[Served]:
    """Its page, which only shows."""
    served = beside(house)
    served.start()
    yield served
    served.close()


@pytest.fixture
def serve(house: House, tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """A page of the test's own: `serve(change=True)`."""
    made: list[Served] = []

    def serve(*, change: bool = False, more: str = "", **environment: str) -> Served:
        served = beside(house, folder=tmp_path / f"web{len(made)}", change=change, more=more)
        made.append(served)
        served.start(**environment)
        return served

    yield serve
    for served in made:
        served.close()
