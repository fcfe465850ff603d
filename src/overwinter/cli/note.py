"""`note`: a remark in the logbook."""

from overwinter.cli.ask import ask
from overwinter.cli.options import Verb
from overwinter.cli.places import places

VERB = Verb(
    "note",
    "TEXT",
    about="Write a remark into the logbook. A new lamp resets the lamp's hours.",
    examples=('overwinter note "new lamp"', 'overwinter note "drained the riser, valve shut"'),
)


def run(argv: list[str]) -> int:
    """Have a remark recorded."""
    given = VERB.parse(argv, most=None)
    text = " ".join(given.words).strip()
    if not text:
        raise VERB.wrong("say what to note")
    ask(places(given.options, client=True), "note", {"text": text})
    print("noted")
    return 0
