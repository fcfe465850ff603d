"""The schemas themselves: each is valid, accepts what is promised, and names what the nouns name."""

from collections.abc import Callable
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from overwinter.core.nouns import Code, Flag, Health, Mode, Reason, Role
from overwinter.core.units import Unit
from overwinter.schemas import NAMES, load
from tests.schemas.promised import (
    CHECK,
    EVENTS,
    HAND,
    PROOF,
    REFUSED,
    SAMPLE,
    SET,
    SETTINGS,
    STAMP,
    STATUS,
    UNREACHED,
    WHO,
    problems,
)


@pytest.mark.parametrize("name", NAMES)
def test_each_schema_is_valid_itself_and_names_its_draft(name: str) -> None:
    schema = load(name)

    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["$id"] == f"urn:overwinter:schema:{name}"


@pytest.mark.parametrize("name", ["", "statuses", "../status", "status.json"])
def test_no_other_schema_can_be_loaded(name: str) -> None:
    with pytest.raises(LookupError, match="no such schema; there are status, settings"):
        load(name)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        pytest.param("status", STATUS, id="status"),
        pytest.param("settings", SETTINGS, id="settings"),
        pytest.param("set", SET, id="set"),
        pytest.param("hand", HAND, id="hand"),
        pytest.param("check", CHECK, id="what check found"),
        pytest.param("rounds", {"houses": [UNREACHED]}, id="a house that did not answer"),
        pytest.param("prove", {"until": "2026-01-09T04:12:33Z"}, id="sensors away"),
        pytest.param("prove", {}, id="sensors back"),
        pytest.param("prove", PROOF, id="a recorded proof"),
        pytest.param(
            "logbook-line",
            {**STAMP, "event": "proof", "step": "sensors-away", "for_s": 300.0, **WHO},
            id="sensors away in the logbook",
        ),
        pytest.param(
            "logbook-line",
            {**STAMP, "event": "proof", "step": "sensors-back", "why": "over"},
            id="sensors back in the logbook",
        ),
        pytest.param("rpc-error", REFUSED, id="error"),
        pytest.param("logbook-line", SAMPLE, id="sample"),
        *(
            pytest.param("logbook-line", {**STAMP, "event": event, **fields}, id=event)
            for event, fields in EVENTS.items()
        ),
    ],
)
def test_what_is_promised_is_valid(name: str, value: dict[str, Any]) -> None:
    assert problems(name, value) == []


def enum_at(name: str, pick: Callable[[dict[str, Any]], dict[str, Any]]) -> list[object]:
    return pick(load(name))["enum"]


@pytest.mark.parametrize(
    ("name", "pick", "noun"),
    [
        *[
            pytest.param(name, lambda s, d=d: s["$defs"][d], noun, id=f"{name} {d}")
            for name, d, noun in [
                ("status", "mode", Mode),
                ("settings", "mode", Mode),
                ("logbook-line", "mode", Mode),
                ("status", "reason", Reason),
                ("logbook-line", "reason", Reason),
                ("status", "flag", Flag),
                ("logbook-line", "flag", Flag),
                ("status", "code", Code),
                ("logbook-line", "code", Code),
            ]
        ],
        pytest.param("status", lambda s: s["properties"]["health"], Health, id="status health"),
        pytest.param(
            "status",
            lambda s: s["properties"]["sensors"]["items"]["properties"]["role"],
            Role,
            id="status role",
        ),
        pytest.param("status", lambda s: s["properties"]["unit"], Unit, id="status unit"),
        pytest.param("settings", lambda s: s["properties"]["unit"], Unit, id="settings unit"),
    ],
)
def test_the_enumerations_are_those_of_the_nouns(name: str, pick, noun) -> None:
    assert enum_at(name, pick) == [member.value for member in noun]
