"""The least site.toml, and what is wrong with one."""

import json
from pathlib import Path

from overwinter.core.nouns import (
    Site,
)
from overwinter.settings.site import (
    parse_site,
)

EXAMPLE = Path(__file__).parents[2] / "etc" / "site.toml"

LEAST = """\
[[sensor]]
name = "pump"
role = "control"
kind = "dht22"
pin = 4
[relay]
pin = 17
"""

MQTT = "[mqtt]\ntopic = 'farm/orchard'\n"


def problems(text: str | bytes) -> list[str]:
    parsed = parse_site(text)
    assert parsed.site is None
    json.dumps([problem.value for problem in parsed.problems], allow_nan=False)
    return [problem.text for problem in parsed.problems]


def site(text: str) -> Site:
    parsed = parse_site(text)
    assert parsed.problems == ()
    assert parsed.site is not None
    return parsed.site
