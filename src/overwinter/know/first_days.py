"""A dead heater, as long as little is known of the house: what its air does that no heated air does.

What is said is the text of the alarm; None: nothing. What is known later stands in `contrast.py`.
"""

from overwinter.core.units import Unit, say_difference
from overwinter.know.answers import KNOWN, Answers
from overwinter.know.phases import Course, Phase

UNKNOWN_MIN = (30.0, 45.0)
FALLS_ON = 0.45
"""As long as nothing is known of this house: within these minutes of heat the air must fall by so much of
what it would have, had it gone on as before the switch-on."""
SURE_K = {5: 0.65, 8: 0.65, 10: 0.55, 15: 0.45, 20: 0.36, 30: 0.36, 45: 0.36}
"""Windows [min] in which it is looked back, and the fall [K] that is none of a gust in each."""
SIGNAL_K = 0.35
"""A smaller fall within a phase cannot be told from noise."""
LIKE_NONE = 0.6
"""A fall under heat must come so near to what is usual without it."""


def only_falls(phase: Phase, minutes: float, change_k: float, course: Course, *, unit: Unit) -> str | None:
    """As long as nothing is known: whether the air falls on as before, for heat that is weak slows it."""
    least, most = UNKNOWN_MIN
    if not (phase.is_whole and least <= minutes <= most):
        return None
    fell_k = course.change_k(15.0)
    as_before_k = min(FALLS_ON * phase.slope_k_min * minutes, -0.3)
    if change_k > as_before_k or fell_k is None or fell_k > -0.2:
        return None
    return (
        f"heat is on for {minutes:.0f} min and the air only falls, by {say_difference(-change_k, unit)}: "
        "look at the bulb or heater, its plug and breaker; unplug it before touching. If it heats, a door is "
        "open or it is too weak for this cold: what is usual here is not known yet"
    )


def stopped(answers: Answers, minutes: float, course: Course, *, unit: Unit) -> str | None:
    """As long as the laws are not known: whether the air falls under heat as when that goes off."""
    for window, sure_k in SURE_K.items():
        if window + 1.0 > minutes:
            break
        usual = answers.falls[window]
        # Over half an hour the weather alone moves the air.
        if usual.count < KNOWN or usual.mean > -(SIGNAL_K if window <= 20 else 2.0 * SIGNAL_K):
            continue
        if _is_quick(answers, window):
            break
        fell_k = course.change_k(window)
        usual_k = answers.colder() * usual.mean
        if fell_k is None or fell_k > min(LIKE_NONE * usual_k, -sure_k):
            continue
        before_k = course.change_k(min(float(window), minutes - window), ended=float(window))
        if before_k is not None and before_k < 0.3 * usual_k:
            continue
        return (
            f"heat is on, and the air fell by {say_difference(-fell_k, unit)} in {window} min as it does "
            f"when heat goes off ({say_difference(-usual_k, unit)} is usual then): the heater seems to have "
            "stopped; look at the bulb or heater, its plug and breaker; unplug it before touching. If it "
            "heats, look for an open door"
        )
    return None


def _is_quick(answers: Answers, window: int) -> bool:
    """Whether a shorter window than this shows all there is to be seen: a quick house falls at once."""
    shorter = [answers.falls[minute] for minute in SURE_K if minute < window]
    return any(usual.count >= KNOWN and usual.mean <= -1.0 for usual in shorter)
