"""What the program really says, against what is promised: a simulated night through the true control loop."""

import json
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from overwinter.core.evidence import Step
from overwinter.core.nouns import (
    Adopt,
    Caller,
    Code,
    ContactState,
    Event,
    Fact,
    GiveBack,
    Mode,
    Problem,
    Quiet,
    Release,
    Remark,
    SetHand,
    Settings,
    TakeAway,
)
from overwinter.core.state import State
from overwinter.core.turn import turn
from overwinter.guard.status import status
from overwinter.schemas import load
from overwinter.settings.schema import ROWS
from overwinter.settings.values import differences, settings_facts
from overwinter.twin.clock import ScaledClock
from overwinter.twin.play import Play
from overwinter.wire.rpc import NOT_PERMITTED, NOT_STORED, PARSE_ERROR, REFUSED, Fault, encode_error
from tests.twin.site import CONTROL, SITE

RECORD: dict[str, object] = {
    "verdict": "unfinished",
    "steps": [Step(step="reboot", verdict="unfinished", text="what the relay does").facts()],
}

OWNER = Caller(uid=1000, user="owner", pid=4711)

PROOF = {
    "t": "2026-01-09T04:12:33.123Z",
    "boot": "0b5dd1a4-3f0c-4f0e-9a68-7d6a6f2c9e11",
    **RECORD,
}

STAMP = {"t": "2026-01-09T04:12:33.123Z", "boot": "0b5dd1a4-3f0c-4f0e-9a68-7d6a6f2c9e11"}

COMMANDS = {
    5400: [TakeAway(ticket=7, caller=OWNER, for_s=300.0)],
    5600: [GiveBack(ticket=8, caller=OWNER)],
    6000: [TakeAway(ticket=9, caller=OWNER, for_s=200.0)],
    9060: [Remark(ticket=10, event="proof", fields={"step": "record", **RECORD, **OWNER.facts()})],
    3600: [ContactState(name="door", active=True), Fact(code=Code.CLOCK, present=True, text="not set")],
    3660: [SetHand(ticket=1, caller=OWNER, heat=True, for_s=600.0)],
    3720: [Release(ticket=2, caller=OWNER), Quiet(ticket=3, caller=OWNER)],
    7200: [SetHand(ticket=4, caller=OWNER, heat=True, for_s=60.0)],
    9000: [Remark(ticket=5, event="note", fields={"text": "new lamp", "uid": 0, "user": "root", "pid": 1})],
}


def check(name: str, value: object) -> None:
    plain = json.loads(json.dumps(value, allow_nan=False))

    assert [error.message for error in Draft202012Validator(load(name)).iter_errors(plain)] == []


@pytest.fixture(scope="module")
def night() -> tuple[list[Event], list[dict[str, object]]]:
    """Nine hours with the sensor lost in between, somebody at the door, and a change of settings."""
    now = [0.0]
    clock = ScaledClock(1.0, monotonic=lambda: now[0])
    play = Play(SITE, clock, 11, lost={CONTROL: (4 * 3600.0, 5 * 3600.0)})
    settings = Settings()
    warmer = Settings(mode=Mode.WARM, low_c=6.0, high_c=8.0)
    state, events, said = State(SITE, settings, 0.0), [], []
    for step in range(9 * 360):
        now[0] = now_s = step * 10.0
        inbox: list[Any] = [driver.read(now_s) for driver in play.drivers.values()]
        inbox += COMMANDS.get(round(now_s), [])
        if now_s == 27_000.0:
            changes = differences(settings, warmer)
            inbox.append(Adopt(ticket=6, caller=OWNER, settings=warmer, changes=changes, how="command"))
        outcome = turn(state, inbox, now_s)
        play.relay.drive(heat=outcome.decision.heat)
        events += outcome.events
        if step % 6 == 0:
            disk = {"settings": "ok", "logbook": "ok"}
            said.append(
                status(
                    state,
                    now_s=now_s,
                    utc_s=1.768e9 + now_s,
                    uptime_s=now_s,
                    boot=STAMP["boot"],
                    watchdog_s=30.0,
                    current_flows=None,
                    proof=PROOF if step > 100 else None,
                    disk=disk,
                    is_synchronised=step > 100,
                    warnings=["band.low is low"],
                )
            )
    return events, said


def test_every_event_of_a_night_is_a_valid_line(night: tuple[list[Event], list[dict[str, object]]]) -> None:
    events, _ = night

    assert {"sample", "heat", "alarm", "hand", "note", "settings"} <= {event.name for event in events}
    proofs = [(event.fields["step"], event.fields.get("why")) for event in events if event.name == "proof"]
    assert proofs == [
        *(("sensors-away", None), ("sensors-back", "given-back"), ("sensors-away", None)),
        *(("sensors-back", "over"), ("record", None)),
    ]
    for event in events:
        check("logbook-line", STAMP | {"up": event.up_s, "event": event.name} | dict(event.fields))


def test_every_status_of_a_night_is_valid(night: tuple[list[Event], list[dict[str, object]]]) -> None:
    _, said = night

    assert {facts["blind"] for facts in said} == {False, True}
    assert {facts["sensors_away_until"] is None for facts in said} == {False, True}
    for facts in said:
        check("status", facts)


def test_the_first_word_of_a_guard_without_sensors_is_valid() -> None:
    state = State(SITE, Settings(mode=Mode.OBSERVE), 5.0)
    disk = {"settings": "ok", "logbook": "No space left on device"}

    check(
        "status",
        status(
            state,
            now_s=5.0,
            utc_s=0.0,
            uptime_s=0.0,
            boot=STAMP["boot"],
            watchdog_s=30.0,
            current_flows=None,
            proof=None,
            disk=disk,
            is_synchronised=False,
            warnings=[],
        ),
    )


def test_with_every_alarm_at_once_status_and_lines_are_valid() -> None:
    state = State(SITE, Settings(), 0.0)
    facts = [Fact(code=code, present=True, text=f"forced: {code.value}") for code in Code]
    events = turn(state, facts, 1.0).events + turn(state, [], 1900.0).events
    events += turn(state, [Quiet(ticket=1, caller=OWNER)], 2000.0).events
    disk = {"settings": "No space left on device", "logbook": "Read-only file system"}
    facts_said = status(
        state,
        now_s=2000.0,
        utc_s=1.768e9,
        uptime_s=2000.0,
        boot=STAMP["boot"],
        watchdog_s=30.0,
        current_flows=True,
        proof=PROOF,
        disk=disk,
        is_synchronised=False,
        warnings=["w"],
    )
    gone = [Fact(code=code, present=False, text="") for code in Code]
    events += turn(state, gone, 3000.0).events + turn(state, [], 9000.0).events

    check("status", facts_said)
    assert {alarm["code"] for alarm in facts_said["alarms"]} == {code.value for code in Code}
    states = {(event.fields["code"], event.fields["state"]) for event in events if event.name == "alarm"}
    assert {(code.value, said) for code in Code for said in ("raised", "acknowledged")} <= states
    assert {("disk", "cleared"), ("cold", "cleared"), ("sensor-doubtful", "cleared")} <= states
    for event in events:
        check("logbook-line", STAMP | {"up": event.up_s, "event": event.name} | dict(event.fields))


def edge(side: str) -> Settings:
    """Every number at its lowest or highest, whatever the rules between keys say."""
    rows = [row for row in ROWS if row.choices is None]
    values = {row.field: getattr(row, side) for row in rows}
    return Settings(**{**values, "window": int(values["window"])})


@pytest.mark.parametrize(
    "settings", [Settings(), edge("lo"), edge("hi")], ids=["defaults", "lowest", "highest"]
)
def test_settings_to_the_edge_of_their_ranges_are_valid(settings: Settings) -> None:
    check("settings", settings_facts(settings))


@pytest.mark.parametrize("code", [PARSE_ERROR, NOT_PERMITTED, NOT_STORED, REFUSED])
@pytest.mark.parametrize("request_id", [None, 7, "seven"])
def test_every_refusal_is_a_valid_error(code: int, request_id: int | str | None) -> None:
    problem = Problem("band.low", 99.0, "-40..100 F", "band.low = 99: must be -40..100 F")

    check("rpc-error", json.loads(encode_error(request_id, Fault(code, "no", [problem]))))
