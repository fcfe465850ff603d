"""`quiet`: the present alarms are known."""

from overwinter.cli.ask import ask, facts
from overwinter.cli.options import Stop, Verb
from overwinter.cli.places import places
from overwinter.show.text import clean

VERB = Verb(
    "quiet",
    about="""Acknowledge the present alarms: somebody knows.

They stay in `status` until their cause is gone; one that comes anew is told again.""",
    examples=("overwinter quiet",),
)


def run(argv: list[str]) -> int:
    """Acknowledge the alarms, and say which."""
    given = VERB.parse(argv)
    where = places(given.options, client=True)
    ask(where, "quiet")
    try:
        alarms = facts(where, "status").get("alarms")
    except Stop:  # acknowledged all the same
        print("acknowledged")
        return 0
    codes = ", ".join(clean(alarm.get("code")) for alarm in alarms or [])
    print(f"acknowledged: {codes}" if codes else "there is no alarm")
    return 0
