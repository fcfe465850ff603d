"""`replay`: judge a recorded logbook again, with what the program knows today."""

import sys

from overwinter.cli.ask import print_json
from overwinter.cli.moments import local
from overwinter.cli.options import JSON, Verb
from overwinter.cli.places import places
from overwinter.cli.replaying import progress, replayed
from overwinter.guard.clock import rfc3339_s
from overwinter.know.answer import forecast_facts
from overwinter.show.forecast import replay_screen

VERB = Verb(
    "replay",
    about="""Learning and fault finding over samples that are already in a logbook folder: which alarms
there would have been and when, what was learned, and the forecast as at the last sample. It changes nothing
and needs no guard; the folder may be another house's, or written by another program in the same form.
Without a site.toml nothing is taken for known of the heater and the pipes.""",
    examples=("overwinter replay --logs ./january --site site.toml", "overwinter replay --json"),
    options={"json": JSON},
)


def run(argv: list[str]) -> int:
    """Go through the logbook and print what it came to."""
    given = VERB.parse(argv)
    where = places(given.options, client=True)
    watch = progress()
    past = replayed(where, watch=watch)
    if watch is not None:
        print("\r" + " " * 12 + "\r", end="", file=sys.stderr, flush=True)
    answer = {
        "from": None if past.from_s is None else rfc3339_s(past.from_s),
        "to": None if past.to_s is None else rfc3339_s(past.to_s),
        "spans": past.spans,
        "alarms": [alarm.facts() for alarm in past.alarms],
        "learned": past.knowledge.learned.summary(),
        "forecast": forecast_facts(past.knowledge.forecast(past.settings)),
    }
    if given.has("json"):
        print_json(answer)
    else:
        print(replay_screen(answer, unit=past.settings.unit, local=local))
    return 0
