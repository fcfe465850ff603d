"""`mode`: what is guarded."""

from overwinter.cli.ask import facts, print_json
from overwinter.cli.changes import change, print_changes, settings_now, unit_of
from overwinter.cli.options import ANYWAY, JSON, Stop, Verb, nearest
from overwinter.cli.places import places
from overwinter.show.text import MODES, word

VERB = Verb(
    "mode",
    "[freeze|warm|observe]",
    about="""Show or change the mode.

freeze   guards the pipes; when no sensor can be believed, heat is on
warm     keeps the band for comfort or stock; when no sensor can be believed, heat is off
observe  never heats; still senses, records and warns. With --until it comes back to the mode before.""",
    examples=(
        "overwinter mode",
        "overwinter mode freeze",
        "overwinter mode observe --until 2026-12-01",
        "overwinter mode observe --until 3d",
    ),
    options={
        "until": ("DATE", "with observe: 2026-12-01, '2026-12-01 18:00', an RFC 3339 time, or 3d"),
        "anyway": ANYWAY,
        "json": JSON,
    },
)


def run(argv: list[str]) -> int:
    """Show the mode, or have it changed."""
    given = VERB.parse(argv, most=1)
    where = places(given.options, client=True)
    mode = given.words[0] if given.words else None
    if mode is not None and mode not in MODES:
        near = nearest(mode, MODES)
        raise VERB.wrong(f"{mode!r} is no mode{f'; did you mean {near}?' if near else ''}")
    until = given.value("until")
    if until is not None and mode != "observe":
        raise VERB.wrong("--until goes with observe")
    if mode is None:
        settings = facts(where, "settings")
        if given.has("json"):
            print_json({"mode": settings.get("mode")})
        else:
            print(f"mode {settings.get('mode')}: {word(MODES, settings.get('mode'))}")
        return 0
    end = None if until is None else _end(until)
    answer = change(where, {"mode": mode}, anyway=given.has("anyway"), until=end)
    if given.has("json"):
        print_json(answer)
        return 0
    print_changes(answer, unit=unit_of(settings_now(where)))
    print(f"mode {mode}: {MODES[mode]}")
    if end is not None:
        from overwinter.cli.moments import local_with_distance

        print(f"until {local_with_distance(end)}, then the mode before")
    print("saved")
    return 0


def _end(text: str) -> str:
    from datetime import UTC, datetime

    from overwinter.cli.moments import moment, rfc3339

    end = moment(text, option="--until", ahead=True)
    if end <= datetime.now(UTC):
        raise Stop(1, f"--until {text} is over already", "allowed: a time ahead")
    return rfc3339(end)
