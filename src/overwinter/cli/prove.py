"""`prove`: the guided proof test, done before every winter by whoever stands in the pump house."""

import sys
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from overwinter.cli.ask import ask, facts, painter, print_json
from overwinter.cli.options import JSON, NO_COLOR, Stop, Verb, complain
from overwinter.cli.places import Places, places
from overwinter.core.evidence import FAILED, PASSED, UNFINISHED, Plan, Step, verdict_of
from overwinter.core.proof import Proof, boot_question, booted, waits_for_reboot
from overwinter.core.wishes import Broken
from overwinter.show.text import PROOF_CAUTIONS, clean

VERB = Verb(
    "prove",
    about="""The guided proof test of sensors, relay, heater and fail-safe; done before every winter.

It reads the sensors, switches heat on and off, takes the control sensors away for some minutes and sees the
fail-safe act, gives them back, and asks for one reboot that you watch. Whatever happens meanwhile, the guard
itself ends each of these. The result goes into the logbook. With --yes nothing is asked, and only what the
feedback input or the air's own warmth confirms is confirmed.""",
    examples=(
        "overwinter prove",
        "overwinter prove --yes --json",
        "overwinter prove --boot-heat off      after the reboot: heat stayed off while the board booted",
    ),
    options={
        "yes": ("", "ask nothing; for scripts"),
        "boot-heat": ("off|on", "what the heater did while the board booted: ends a proof that waits for it"),
        "again": ("", "begin anew although a proof waits for its reboot"),
        "json": JSON,
        "no-color": NO_COLOR,
    },
)

WAITS_AT_MOST_S = 7 * 86400.0
"""What was proved is not kept waiting for its reboot any longer: too much may have changed."""
_ENDS_ITSELF = "whatever was switched for the proof, the guard ends by itself within half an hour"
_GRADES = {PASSED: 0, UNFINISHED: 1, FAILED: 2}


def run(argv: list[str]) -> int:
    """Prove the installation, or finish with what was seen at the reboot."""
    given = VERB.parse(argv)
    boot_heat = given.value("boot-heat")
    if boot_heat not in {None, "off", "on"}:
        raise VERB.wrong(f"--boot-heat {boot_heat!r}: off or on")
    has_owner = not given.has("yes") and sys.stdin is not None and sys.stdin.isatty()
    if not (has_owner or given.has("yes") or boot_heat):
        raise Stop(1, "prove asks, and there is no terminal to ask at", "for scripts: --yes")
    where = places(given.options, client=True)
    status, settings = facts(where, "status"), facts(where, "settings")
    if "sensors_away_until" not in status:
        raise Stop(1, "this guard knows no proof test yet: restart it, so that it is as new as this command")
    from overwinter.cli.proving import plan

    planned = plan(status, settings, has_owner=has_owner)
    waiting = None if given.has("again") else _waiting(status)
    if boot_heat and waiting is None:
        raise Stop(1, "no proof waits for a reboot", "begin one: overwinter prove")
    # Harmless, and refused at once to whoever may not do the rest.
    ask(where, "prove", {"step": "sensors-back"})
    if waiting is not None:
        return _finish(where, status, planned, waiting, boot_heat=boot_heat, as_json=given.has("json"))
    return _begin(where, status, planned, as_json=given.has("json"))


def _begin(where: Places, status: Mapping[str, Any], planned: Plan, *, as_json: bool) -> int:
    from overwinter.cli.proving import Ended, Hands, Signals

    if status["mode"] == "observe":
        raise Stop(
            1, "mode observe never heats, so there is nothing to prove", "first: overwinter mode freeze"
        )
    if status["heat"]["hand_until"] is not None:
        raise Stop(1, "heat is set by hand", "first: overwinter heat release")
    for caution in PROOF_CAUTIONS:
        print(f"! {caution}", file=sys.stderr)
    if planned.has_owner:
        print("Stand where you see the heater. Type yes to begin: ", end="", file=sys.stderr, flush=True)
        if sys.stdin.readline().strip().lower() not in {"y", "yes"}:
            raise Stop(1, "nothing was begun")
    hands = Hands(where, has_owner=planned.has_owner, say_step=lambda step: _say(step, as_json=as_json))
    proof, code, trouble = Proof(planned), 0, ""
    with Signals() as signals:
        try:
            hands.converse(proof.run())
        except (Ended, Broken, Stop) as end:
            code = end.code if isinstance(end, Ended | Stop) else 1
            trouble = " ".join(end.lines) if isinstance(end, Stop) else str(end)
            proof.interrupted(trouble)
        signals.ignore()
        hands.put_back()
        try:
            kept = _record(where, proof.steps)
        except Stop as stop:
            raise Stop(stop.code, *stop.lines, _ENDS_ITSELF) from None
    if trouble:
        complain(
            f"the proof was interrupted: {trouble}", "sensors and heat are under the usual control again"
        )
        if as_json:
            print_json(kept)
        return code
    return _close(kept, proof.steps, planned, as_json=as_json)


def _finish(
    where: Places,
    status: Mapping[str, Any],
    planned: Plan,
    waiting: list[Step],
    *,
    boot_heat: str | None,
    as_json: bool,
) -> int:
    if status["boot"] == status["proof"]["boot"]:
        raise Stop(
            1,
            "the proof waits for a reboot that you watch",
            *_reboot(planned),
            "or: overwinter prove --again",
        )
    as_wired: bool | None
    if boot_heat is not None:
        as_wired = (boot_heat == "on") == planned.released_heats
    else:
        from overwinter.cli.proving import Hands

        hands = Hands(where, has_owner=planned.has_owner, say_step=print)
        as_wired = hands.answer(boot_question(planned))
    if as_wired is None:
        raise Stop(1, "what the heater did while the board booted is not known", *_reboot(planned))
    steps = [step for step in waiting if step.step != "reboot"]
    steps.append(booted(planned, as_wired=as_wired))
    kept = _record(where, steps)
    for step in steps:
        _say(step, as_json=as_json)
    return _close(kept, steps, planned, as_json=as_json)


def _waiting(status: Mapping[str, Any]) -> list[Step] | None:
    """The steps of a proof that waits for its reboot, if it does not do so for too long."""
    proof = status["proof"]
    if proof is None or proof["verdict"] == FAILED:
        return None
    steps = [
        Step(step=step["step"], verdict=step["verdict"], by=step["by"], text=step["text"])
        for step in proof["steps"]
    ]
    age_s = (datetime.now(UTC) - datetime.fromisoformat(proof["t"])).total_seconds()
    return steps if waits_for_reboot(steps) and age_s < WAITS_AT_MOST_S else None


def _record(where: Places, steps: list[Step]) -> Any:
    result = {
        "verdict": verdict_of(step.verdict for step in steps),
        "steps": [step.facts() for step in steps],
    }
    return ask(where, "prove", {"step": "record", "result": result})


def _say(step: Step, *, as_json: bool) -> None:
    by = f" ({step.by})" if step.by else ""
    line = f"{step.verdict:<10} {step.step}{by}: {clean(step.text)}"
    if as_json:
        print(line, file=sys.stderr, flush=True)
    else:
        print(painter()(line, _GRADES[step.verdict]), flush=True)


def _close(kept: Any, steps: Iterable[Step], planned: Plan, *, as_json: bool) -> int:
    """The last word."""
    without_reboot = verdict_of(step.verdict for step in steps if step.step != "reboot")
    verdict = kept["verdict"]
    if verdict == PASSED:
        lines = ["The proof test is passed, and recorded in the logbook."]
    elif verdict == FAILED:
        lines = ["The proof test has FAILED, and that is recorded in the logbook. Mend it, then prove again."]
    elif without_reboot == PASSED:
        lines = ["So far all is well, and recorded as unfinished. What is left:", *_reboot(planned)]
    else:
        lines = ["The proof test is unfinished, and recorded so: not everything could be seen (see above)."]
        if waits_for_reboot(steps):
            lines += ["Left is, too:", *_reboot(planned)]
    if as_json:
        print_json(kept)
        print(*lines, sep="\n", file=sys.stderr)
    else:
        print(*lines, sep="\n")
    is_well = verdict == PASSED or (verdict != FAILED and without_reboot == PASSED)
    return 0 if is_well else 1


def _reboot(planned: Plan) -> tuple[str, ...]:
    sight = "heat on until the guard starts" if planned.released_heats else "no heat until the guard starts"
    return (
        "Reboot the board (sudo systemctl reboot) and watch the heater while it boots: an active-low relay",
        f"may pull in before the guard starts. It should be: {sight}.",
        "Then: overwinter prove",
    )
