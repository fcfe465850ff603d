"""What `plan`, `air` and `pipe` print, against what their schemas promise."""

import json
from pathlib import Path
from typing import Any

import pytest

from overwinter.cli import main
from tests.schemas.promised import changed, problems

EXAMPLE = Path(__file__).parents[2] / "etc" / "site.toml"
WORDS = {
    "air": ("36F", "80"),
    "pipe": ("--bore-mm", "26", "--outside-mm", "28", "--water", "45F", "--air", "10F"),
    "plan": ("--site", str(EXAMPLE), "--degree-days", "900F"),
}


@pytest.fixture(params=WORDS)
def printed(request: pytest.FixtureRequest, capsys: pytest.CaptureFixture[str]) -> tuple[str, dict[str, Any]]:
    name: str = request.param
    assert main([name, *WORDS[name], "--json"]) == 0
    answer: dict[str, Any] = json.loads(capsys.readouterr().out)
    return name, answer


def test_what_is_printed_is_valid_and_may_say_more(printed: tuple[str, dict[str, Any]]) -> None:
    name, answer = printed

    assert problems(name, answer) == []
    assert problems(name, {**answer, "brand_new": 1}) == []


@pytest.mark.parametrize(
    ("name", "path", "new"),
    [
        ("air", "humidity_pct", 101.0),
        ("air", "over", "steam"),
        ("air", "dew_point_c", None),
        ("air", "frost_point_c", 1.0),
        ("air", "humidity_ratio", ...),
        ("pipe", "start_h", None),
        ("pipe", "start_h/best", -1.0),
        ("pipe", "start_h/extra", 1.0),
        ("pipe", "solid_h", ...),
        ("plan", "ua_w_k", ...),
        ("plan", "ua_w_k", "18"),
        ("plan", "loss_w", -1.0),
        ("plan", "season/kwh", None),
        ("plan", "advice/why", []),
        ("plan", "advice/low_c", None),
        ("plan", "pipes/0/start_h", {"best": 1.0}),
        ("plan", "pipes/0/name", ...),
        ("plan", "without_heat/0/outdoor_c", None),
        ("plan", "circuit/problems", None),
        ("plan", "circuit/current_a", -1.0),
        ("plan", "cautions", []),
        ("plan", "assumptions", "none"),
        ("plan", "band/source", "guess"),
    ],
)
def test_what_is_beside_the_promise_is_not_valid(
    name: str, path: str, new: object, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([name, *WORDS[name], "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)

    assert problems(name, answer) == []
    assert problems(name, changed(answer, path, new))
