"""What a sample costs the guard: the minute cut out of its turns, learned from, and looked at for faults.

Rule: measured when all else is over, by one process alone. Two at work on one machine slow each other down,
and the guard has no twin.
"""

import time
from statistics import median

from overwinter.core.nouns import Reading
from overwinter.core.state import State
from overwinter.core.turn import turn
from overwinter.guard.spans import Spans
from overwinter.know.knowledge import Knowledge
from tests.bench.learning.goals import Bar, Judged, row
from tests.bench.learning.measure import settings_of, site_of, trace_of
from tests.bench.learning.nouns import Job
from tests.bench.learning.traces import Trace

WARM_UP = 20_000
"""Minutes that are learned from before: what is known costs more than what is not."""
CHUNK, CHUNKS = 4_000, 5
MUST_US = 50.0


def rows(jobs: list[Job]) -> list[Judged]:
    """Of these house-winters, the middle one."""
    costs = [(_cut_us(made), *_known_us(made)) for made in map(trace_of, jobs)]
    cut_us, learned_us, found_us = (median(each) for each in zip(*costs, strict=True))
    whole_us = median(sum(cost) for cost in costs)
    parts = f"cut out {cut_us:.1f}, learned from {learned_us:.1f}, looked at for faults {found_us:.1f}"
    return [row("cost of a sample in the guard [us]", Bar(MUST_US), whole_us, f"{whole_us:.1f}: {parts}")]


def _known_us(made: Trace) -> tuple[float, float]:
    """To learn from a minute, and to look at it: the least of some chunks, for what else ran is not ours."""
    knowledge, spans = Knowledge(site_of(made)), made.spans
    for span in spans[:WARM_UP]:
        knowledge.take(span)
    learned, finder = knowledge.learned, knowledge._finder
    learned_us, found_us = [], []
    for chunk in range(CHUNKS):
        at = WARM_UP + chunk * CHUNK
        some = spans[at : at + CHUNK]
        began_s = time.process_time()
        for span in some:
            learned.take(span)
        between_s = time.process_time()
        for span in some:
            finder.take(span)
        learned_us.append(1e6 * (between_s - began_s) / CHUNK)
        found_us.append(1e6 * (time.process_time() - between_s) / CHUNK)
    return min(learned_us), min(found_us)


def _cut_us(made: Trace) -> float:
    """To make a span of what the core has counted."""
    site = site_of(made)
    state = State(site, settings_of(made), 0.0)
    readings = [
        Reading(sensor=spec.name, taken_s=1.0, temperature_c=3.0, humidity_pct=80.0) for spec in site.sensors
    ]
    turn(state, readings, 1.0)
    spans = Spans(state, 1.0, gap_s=0.0)
    took_us = []
    for _ in range(CHUNKS):
        began_s = time.process_time()
        for at in range(CHUNK):
            spans.end(61.0 + at, None)
        took_us.append(1e6 * (time.process_time() - began_s) / CHUNK)
    return min(took_us)
