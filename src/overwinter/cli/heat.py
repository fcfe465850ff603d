"""`heat`: on or off by hand, never without an end."""

from overwinter.cli.ask import ask, print_caution, print_json
from overwinter.cli.options import JSON, Stop, Verb
from overwinter.cli.places import places
from overwinter.core.units import parse_duration_s

LONGEST_S = 12 * 3600.0
"""As the guard's own rule has it; said here before anything is asked."""

VERB = Verb(
    "heat",
    "on|off|release",
    about="""Set heat on or off by hand for a while, 12 h at most, or give it back at once with release.

The ceiling still ends heat that was set on; in mode freeze the alarm's low end still ends heat that was
set off. Off is not isolated: unplug or open the breaker before touching anything.""",
    examples=("overwinter heat on --for 20m", "overwinter heat off --for 1.5h", "overwinter heat release"),
    options={"for": ("TIME", "how long: 20m, 1.5h; 12 h at most"), "json": JSON},
)


def run(argv: list[str]) -> int:
    """Take heat in hand, or give it back."""
    given = VERB.parse(argv, most=1)
    what = given.words[0] if given.words else None
    if what not in {"on", "off", "release"}:
        raise VERB.wrong(f"{what!r} is not on, off or release" if what else "say on, off or release")
    length = given.value("for")
    where = places(given.options, client=True)
    if what == "release":
        if length is not None:
            raise VERB.wrong("release happens at once; --for goes with on and off")
        answer = ask(where, "release")
        if given.has("json"):
            print_json(answer)
        else:
            print("heat is back under the usual control")
        return 0
    if length is None:
        raise VERB.wrong(f"never without an end: say how long, 12 h at most, as in heat {what} --for 20m")
    answer = ask(where, "hand", {"heat": what == "on", "for_s": _for_s(length)})
    if what == "off":
        print_caution()
    if given.has("json"):
        print_json(answer)
        return 0
    end = answer.get("hand_until") if isinstance(answer, dict) else None
    print(f"heat {what} by hand until {_local(str(end))}, then the usual control")
    return 0


def _for_s(text: str) -> float:
    try:
        for_s = parse_duration_s(text)
    except ValueError as error:
        raise VERB.wrong(f"--for {error}") from None
    if not 0.0 < for_s <= LONGEST_S:
        raise Stop(1, f"heat: --for {text} is refused", "allowed: more than 0 s and at most 12 h")
    return for_s


def _local(text: str) -> str:
    from overwinter.cli.moments import local_with_distance

    return local_with_distance(text)
