"""Facts in plain words and numbers for a person: pure text in, text out.

Rule 1: nothing here is computed beyond a change of unit, and nothing is opened, asked or coloured by itself.
Rule 2: words for the codes of `core.nouns` are plain tables by their text, because importing the nouns
would cost `status` half of its time; a test sees to it that no code lacks its word.
Rule 3: whatever came from outside goes through `clean` before it reaches a terminal.
"""

from collections.abc import Iterable, Mapping, Sequence

from overwinter.core.units import f_from_c

NOTHING = "-"

MODES: Mapping[str, str] = {
    "freeze": "guards the pipes; when blind, heat is on",
    "warm": "keeps the band; when blind, heat is off",
    "observe": "never heats; senses, records and warns",
}

REASONS: Mapping[str, str] = {
    "below-band": "it is at or below the low end of the band",
    "above-band": "it is at or above the high end of the band",
    "inside-band": "it is inside the band, where heat stays as it was",
    "min-on": "heat has only just come on and stays on for its shortest time",
    "min-off": "heat has only just gone off and stays off for its shortest time",
    "sensor-lost": "no sensor can be believed",
    "sensors-disagree": "the sensors contradict each other",
    "too-hot": "it is at or above the ceiling",
    "warm-enough": "no control sensor can be believed, but something else says it is warm",
    "by-hand": "it was set by hand",
    "exercise": "unused heat is being tried",
    "observing": "mode observe never heats",
    "starting": "the guard has only just started",
}

FLAGS: Mapping[int, str] = {
    1: "good",
    2: "good, not yet compared",
    3: "doubtful",
    4: "failed",
    9: "nothing came",
}

HEALTH: Mapping[str, str] = {
    "normal": "normal",
    "maintenance-required": "maintenance required: it works, but something should be seen to soon",
    "out-of-specification": "out of specification: it works outside of what it is meant for",
    "function-check": "function check: set by hand, exercise or proof test, not the usual control",
    "failure": "failure: it cannot do its work, somebody has to go there",
}

ALARMS: Mapping[str, str] = {
    "sensor-lost": "look at the control sensor, its plug and its wire",
    "sensor-doubtful": "look at the sensor and its wire; is it in a draught, wet or touching the heater?",
    "sensors-disagree": "compare both sensors with a thermometer; unplug the one that is wrong",
    "cold": "go and see: is the door shut, does the heater give heat, is a window broken?",
    "too-hot": "unplug the heater or open its breaker, then find out why it did not stop",
    "heater-dead": "unplug lamp or heater, then look at it, its plug, breaker, ground-fault switch, limiter",
    "heat-stuck-on": "the relay's contact may be welded: unplug the heater or open its breaker",
    "heater-too-small": "close gaps, insulate; ask an electrician before fitting a stronger heater",
    "cooling-fast": "look whether the door is open or a window is broken",
    "damp": "look for a leak, and let the house dry",
    "wet-floor": "stay out until the breaker is off; then shut the main valve and look for the leak",
    "short-cycling": "move the sensor away from the heater, or widen the band",
    "relay-worn": "replace the relay at the next visit",
    "disk": "look at the disk or card: is it full, read-only or failing? copy the logbook",
    "settings-recovered": "check settings and site.toml: what could not be read fell back",
    "gap": "look at the power: the guard did not run for a while",
    "may-have-frozen": "shut the main valve and look for cracks before anything thaws or is turned on",
    "clock": "the date may be wrong; check network and time",
    "low-setting": "raise the low end of the band to 1 C (33.8 F) or more",
}

MEANINGS: Mapping[str, str] = {
    "mode": "freeze, warm or observe",
    "unit": "how the file and the screen speak",
    "band.low": "heat goes on at or below",
    "band.high": "heat goes off at or above",
    "sampling.sense_s": "how often the sensors are read",
    "sampling.record_s": "how often a sample is recorded",
    "filter.window": "median of the last so many readings",
    "filter.max_rate_per_min": "a faster step is doubted until it lasts",
    "filter.flat_after_s": "the same raw values for this long fail",
    "failsafe.lost_after_s": "no believable reading for this long is blind",
    "failsafe.duty": "share of time that heat is on while blind",
    "failsafe.warm_above": "no blind heat while it is believably this warm",
    "relay.min_on_s": "shortest time on",
    "relay.min_off_s": "shortest time off",
    "limits.ceiling": "heat off at or above, whatever else",
    "limits.alarm_low": "alarm at or below",
    "exercise.every_days": "unused heat is tried this often; 0 is never",
    "exercise.for_s": "for this long",
}

NOT_ISOLATED = (
    "NOT ISOLATED: heat may start without warning; unplug or open the breaker before touching "
    "(with contact NC, stopping even starts it)"
)

PROOF_CAUTIONS = (
    "Mains voltage kills. This test needs no open box and no touching: look, do not touch.",
    "A lamp or heater that was on is hot enough to burn you and to set fire: nothing may lie against it.",
    NOT_ISOLATED,
    "Local codes and a licensed electrician go before anything that is said here; wiring is theirs.",
)
"""What everyone must know before the relay is worked."""


def clean(text: object) -> str:
    """Text from outside in one line, with nothing in it that a terminal would obey."""
    return "".join(letter if letter.isprintable() else "?" for letter in str(text))


def number(value: float, places: int = 2) -> str:
    """`36`, `34.5`, `-1.25`: no more digits than it needs, never `-0`."""
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def in_unit(temperature_c: float, unit: str) -> float:
    """°C as a number in F or C."""
    return f_from_c(temperature_c) if unit == "F" else temperature_c


def other(unit: str) -> str:
    """The unit that stands in brackets."""
    return "C" if unit == "F" else "F"


def degrees(temperature_c: float, unit: str) -> str:
    """A measured temperature with one decimal, as sensors are good for no more; never `-0.0`."""
    text = f"{in_unit(temperature_c, unit):.1f}"
    return "0.0" if text == "-0.0" else text


def temperature(temperature_c: float | None, unit: str) -> str:
    """A measured temperature in both units: `35.8 F (2.1 C)`."""
    if temperature_c is None:
        return NOTHING
    return f"{_measured(temperature_c, unit)} ({_measured(temperature_c, other(unit))})"


def setting(temperature_c: float, unit: str) -> str:
    """A temperature that was set, in both units: `36 F (2.2 C)`."""
    here, there = in_unit(temperature_c, unit), in_unit(temperature_c, other(unit))
    return f"{number(here)} {unit} ({number(there, 1)} {other(unit)})"


def span(*, low_c: float, high_c: float, unit: str) -> str:
    """A band in both units: `36 to 40 F (2.2 to 4.4 C)`."""
    there = other(unit)
    here_text = f"{number(in_unit(low_c, unit))} to {number(in_unit(high_c, unit))} {unit}"
    there_text = f"{number(in_unit(low_c, there), 1)} to {number(in_unit(high_c, there), 1)} {there}"
    return f"{here_text} ({there_text})"


def duration(seconds: float) -> str:
    """Seconds in words of at most two units: `45 s`, `12 min`, `3 h 20 min`, `2 d 4 h`."""
    whole = max(0, int(seconds))
    if whole < 60:
        return f"{whole} s"
    minutes, hours, days = whole // 60, whole // 3600, whole // 86400
    if hours == 0:
        return f"{minutes} min"
    if days == 0:
        return f"{hours} h {minutes % 60} min" if minutes % 60 else f"{hours} h"
    return f"{days} d {hours % 24} h" if hours % 24 else f"{days} d"


def percent(share_pct: float | None) -> str:
    """`71 %`."""
    return NOTHING if share_pct is None else f"{number(share_pct, 0)} %"


def word(table: Mapping[str, str], code: object) -> str:
    """The plain words for a code; a code from a newer guard stands for itself."""
    return table.get(str(code)) or clean(code)


def flag(code: object) -> str:
    """A QARTOD flag in words."""
    return FLAGS.get(code, f"flag {clean(code)}") if isinstance(code, int) else f"flag {clean(code)}"


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Columns wide enough for what is in them, two spaces apart."""
    lines = [list(map(clean, row)) for row in (head, *rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )


def flattened(settings: Mapping[str, object], unit: str) -> dict[str, str]:
    """The SI settings as `{"band.low": "36 F (2.2 C)", ...}`, by the keys that `set` takes."""
    found: dict[str, str] = {}
    for section, content in settings.items():
        if not isinstance(content, Mapping):
            found[section] = clean(content)
            continue
        for key, value in content.items():
            name = "max_rate_per_min" if key == "max_rate_k_per_min" else key.removesuffix("_c")
            found[f"{section}.{name}"] = _set_value(key, value, unit)
    return found


def _set_value(key: str, value: object, unit: str) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return clean(value)
    if key.endswith("_c"):
        return setting(value, unit)
    if key.endswith("_s"):
        return f"{number(value)} s" + (f" ({duration(value)})" if value >= 60 else "")
    if key.endswith("_k_per_min"):
        return f"{number(value)} K/min"
    return f"{number(value)} d" if key.endswith("_days") else number(value)


def changed(key: str, old: object, new: object, *, old_unit: str, new_unit: str) -> str:
    """One change as stored: `band.low: 36 F -> 34 F`; temperatures come in the settings' unit."""
    return f"{clean(key)}: {_stored(key, old, old_unit)} -> {_stored(key, new, new_unit)}"


TEMPERATURES = frozenset(
    {"band.low", "band.high", "failsafe.warm_above", "limits.ceiling", "limits.alarm_low"}
)
"""The keys of settings.toml that are temperatures."""


def _stored(key: str, value: object, unit: str) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return clean(value)
    if key in TEMPERATURES:
        return f"{number(value)} {unit}".rstrip()
    return f"{number(value)} s" if key.endswith("_s") else number(value)


def _measured(temperature_c: float, unit: str) -> str:
    return f"{degrees(temperature_c, unit)} {unit}"
