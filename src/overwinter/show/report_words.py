"""A report's page: sentences, tables and what to change before next winter, for terminal and paper alike."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from overwinter.core.nouns import Site
from overwinter.core.units import Unit, say_difference
from overwinter.reckon.report import Alarm, Figures, PipeIce, Silence
from overwinter.reckon.report_advice import Advice
from overwinter.show import text
from overwinter.show.picture_words import CAUSES
from overwinter.show.plan_page import Item, Mark, Page, Section, Table, counted

ROWS_MOST = 12
"""So many gaps or alarms are on the page, the newest; all are in --json."""

LEARNS_S = 5 * 86400.0
"""A shorter time teaches nothing of the loss, so nothing is said of it."""

FROZEN = {
    "no": "not frozen",
    "may have": "may have frozen",
    "cannot be known": "cannot be known",
}
"""What the guard said of the pipes after a silence."""

ALARM_LOW_FROM = {
    "settings": "from settings.toml",
    "default": "the default: no settings of this house were at hand",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All that a report says."""

    site: Site
    unit: str  # F or C
    what: str  # night, week, season, span
    from_s: float
    to_s: float
    figures: Figures
    cycles: int
    are_cycles_counted: bool  # False: seen in samples only, so at least
    alarms: tuple[Alarm, ...]
    pipes: tuple[PipeIce, ...]
    advice: tuple[Advice, ...]
    alarm_low_c: float
    alarm_low_from: str  # a key of ALARM_LOW_FROM
    coverage: float
    learned: Mapping[str, Any]  # as `know.learned` sums it up

    @property
    def is_recorded(self) -> bool:
        """Whether there is anything to report."""
        return self.figures.recorded_s > 0.0 or self.figures.coldest_c is not None


def report_page(report: Report, *, when: Callable[[float], str], foot: str = "") -> Page:
    """The whole page; `when` says a moment [s of the epoch] in local time."""
    sections = [
        Section(title="In short", items=tuple(Item(line) for line in _short(report, when))),
        *_gaps(report.figures.gaps, report.unit, when),
        *_alarms(report.alarms, when),
        _pipes(report),
        *_learned(report),
        Section(
            title="What to change before next winter",
            items=tuple(Item(line, Mark.NONE) for line in advised(report)),
            lead="" if report.advice else _nothing(report),
        ),
    ]
    return Page(
        title=f"{report.site.name}: {report.what}",
        lead=f"{when(report.from_s)} to {when(report.to_s)}, local time.",
        sections=sections,
        foot=foot,
    )


def _short(report: Report, when: Callable[[float], str]) -> list[str]:
    found, unit = report.figures, report.unit
    recorded = f"{text.number(100 * report.coverage, 1)} % of the time was recorded"
    if not report.is_recorded:
        return ["Nothing was recorded in this time: nobody knows how it was."]
    lines = []
    if found.coldest_c is None or found.coldest_at_s is None:
        lines.append("No believable temperature was recorded.")
    else:
        lines.append(f"Coldest: {text.temperature(found.coldest_c, unit)} at {when(found.coldest_at_s)}.")
        lines.append(_too_cold(report))
    lines.append(_heat(report))
    gaps = counted(len(found.gaps), "gap") if found.gaps else "no gap"
    told = counted(len(report.alarms), "alarm") if report.alarms else "no alarm"
    return [*lines, f"{recorded}: {gaps}, {told}."]


def _learned(report: Report) -> list[Section]:
    """What the span taught of house and heater; nothing where it is too short to teach anything."""
    rise, loss = (report.learned.get(key) for key in ("rise_k", "loss_w_k"))
    lead = ""
    lines = []
    if rise is None:
        if report.to_s - report.from_s < LEARNS_S:
            return []
        lead = (
            "How this house loses heat is not known from this time: that takes five days with heat in use, "
            "and temperatures from indoors and outdoors."
        )
    else:
        best, low, high = (say_difference(rise[key], Unit(report.unit)) for key in ("best", "low", "high"))
        lines.append(f"Heat that is always on keeps it {best} warmer than outdoors ({low} to {high}).")
        if loss is not None:
            lines.append(f"It loses {loss['best']:.0f} W/K ({loss['low']:.0f} to {loss['high']:.0f}).")
        lines.append(f"From {report.learned['based_on_h']:.0f} h of sound readings with heat in use.")
    items = tuple(Item(line, Mark.NONE) for line in lines)
    return [Section(title="What was learned of this house", items=items, lead=lead)]


def _too_cold(report: Report) -> str:
    found = report.figures
    limit = f"{text.setting(report.alarm_low_c, report.unit)}, {ALARM_LOW_FROM[report.alarm_low_from]}"
    if found.hours_below_alarm_low == 0.0:
        return f"Never at or below alarm_low ({limit})."
    per, name = (1.8, "F") if report.unit == "F" else (1.0, "C")
    degree_hours = text.number(found.degree_hours_below_alarm_low * per, 1)
    return (
        f"{text.duration(3600 * found.hours_below_alarm_low)} at or below alarm_low ({limit}): "
        f"{degree_hours} degree hours ({name})."
    )


def _heat(report: Report) -> str:
    found = report.figures
    if found.duty is None:
        return "How much heat was on is not recorded."
    least = "" if report.are_cycles_counted else "at least "
    line = (
        f"Heat was on {text.number(100 * found.duty, 1)} % of the recorded time, "
        f"{text.number(found.heat_h, 1)} h, and went on {least}{counted(report.cycles, 'time')}"
    )
    if found.kwh is None:
        return f"{line}; without `watts` in site.toml the energy is not known."
    line += f": {text.number(found.kwh, 2)} kWh"
    if found.cost is None:
        return f"{line}; without a tariff in site.toml the cost is not known."
    return f"{line}, {text.number(found.cost, 2)} {report.site.currency}".rstrip() + "."


def _gaps(gaps: Sequence[Silence], unit: str, when: Callable[[float], str]) -> list[Section]:
    if not gaps:
        return []
    rows = tuple(
        (
            when(gap.from_s),
            text.duration(gap.to_s - gap.from_s),
            CAUSES.get(gap.cause, gap.cause),
            _degrees(gap.before_c, unit),
            _degrees(gap.after_c, unit),
            FROZEN.get(gap.frozen or "", "not judged"),
        )
        for gap in gaps[-ROWS_MOST:]
    )
    table = Table(head=("from", "for", "cause", "before", "after", "pipes"), rows=rows)
    return [Section(title="Not recorded", table=table, note=_left_out(len(gaps)))]


def _alarms(alarms: Sequence[Alarm], when: Callable[[float], str]) -> list[Section]:
    if not alarms:
        return []
    rows = tuple(
        (
            f"{one.code} {one.subject}".rstrip(),
            "before this" if one.since_s is None else when(one.since_s),
            _over(one),
            "-" if one.delay_s is None else f"after {text.duration(one.delay_s)}",
        )
        for one in alarms[-ROWS_MOST:]
    )
    table = Table(head=("alarm", "since", "lasted", "told"), rows=rows)
    return [Section(title="Alarms", table=table, note=_left_out(len(alarms)))]


def _over(alarm: Alarm) -> str:
    if alarm.cleared_s is None:
        return "not cleared"
    return "cleared" if alarm.since_s is None else text.duration(alarm.cleared_s - alarm.since_s)


def _pipes(report: Report) -> Section:
    if not report.pipes:
        return Section(
            title="Pipes", lead="site.toml describes no pipe, so nothing can be said of ice in one."
        )
    rows = tuple((pipe.name, *_ice(pipe)) for pipe in report.pipes)
    return Section(
        title="Pipes",
        table=Table(head=("pipe", "most ice", "at least", "at most"), rows=rows),
        note="Share of its water that was ice, reckoned from the recorded air; a gap widens it.",
    )


def _ice(pipe: PipeIce) -> tuple[str, str, str]:
    share = pipe.ice_share
    if share is None:
        return "not known", text.NOTHING, text.NOTHING
    return _percent(share.best), _percent(share.low), _percent(share.high)


def _percent(share: float) -> str:
    return f"{text.number(100 * share, 1)} %"


def _degrees(value_c: float | None, unit: str) -> str:
    return text.NOTHING if value_c is None else f"{text.degrees(value_c, unit)} {unit}"


def _left_out(count: int) -> str:
    return f"{count - ROWS_MOST} older ones are left out; --json has all." if count > ROWS_MOST else ""


def _nothing(report: Report) -> str:
    if not report.is_recorded:
        return "Nothing can be said of a time that nobody recorded: see that the guard runs."
    return "Nothing in this record asks for a change."


def advised(report: Report) -> tuple[str, ...]:
    """What to change, each with its evidence."""
    return tuple(_WORDS[one.code](one, report.unit) for one in report.advice)


def _band_too_low(one: Advice, unit: str) -> str:
    assert one.other is not None
    assert one.third is not None
    return (
        f"Raise the band's low end from {text.setting(one.other, unit)} to about "
        f"{text.temperature(one.third, unit)}: it went down to {text.temperature(one.value, unit)}."
    )


def _heater_too_small(one: Advice, unit: str) -> str:
    return (
        f"Insulate, close gaps or fit a stronger heater: it went down to {text.temperature(one.value, unit)} "
        f"although heat was on {_percent(one.other or 0.0)} of the time that it was too cold. A stronger one "
        "needs a circuit, cord and contact that bear it: `overwinter plan`, and a licensed electrician."
    )


def _heat_was_off(one: Advice, unit: str) -> str:
    return (
        f"Find out why there was no heat: it went down to {text.temperature(one.value, unit)}, and heat was "
        f"on only {_percent(one.other or 0.0)} of the time that it was too cold: look at the mode "
        "and the sensor."
    )


def _lamps(one: Advice) -> str:
    sold_h = text.number(one.other or 0.0, 0)
    return f'lamps are commonly sold for about {sold_h} h. After a change: overwinter note "new lamp".'


_WORDS: Mapping[str, Callable[[Advice, str], str]] = {
    "band-too-low": _band_too_low,
    "heater-too-small": _heater_too_small,
    "heat-was-off": _heat_was_off,
    "heater-near-limit": lambda one, _: (
        f"The heater was on {_percent(one.value)} of its busiest day: it has little left for a colder one. "
        "Insulate, close gaps or fit a stronger one."
    ),
    "power-cuts": lambda one, _: (
        f"The power failed {counted(int(one.value), 'time')}, {text.duration(one.other or 0.0)} in all, "
        f"{text.duration(one.third or 0.0)} the longest: no heat comes from a dead line. Insulate the "
        "pipes for that long, or drain them."
    ),
    "silences": lambda one, _: (
        f"Nothing was recorded {counted(int(one.value), 'time')}, {text.duration(one.other or 0.0)} in all, "
        "and nothing says why: look at the system journal and at the board's power supply."
    ),
    "failed-readings": lambda one, _: (
        f"{int(one.value)} of {int(one.other or 0)} samples were doubtful, failed or missing: check the "
        "sensor's wire and plug, or replace it."
    ),
    "lamp-hours": lambda one, _: (
        f"The lamp has burned {text.number(one.value, 0)} h since the note `new lamp`; {_lamps(one)}"
    ),
    "lamp-hours-at-least": lambda one, _: (
        f"The lamp has burned {text.number(one.value, 0)} h in this time, which has no note `new lamp`; "
        f"{_lamps(one)}"
    ),
    "relay-worn": lambda one, _: (
        f"Replace the relay: it has switched {int(one.value)} of its {int(one.other or 0)} rated cycles."
    ),
    "relay-wears": lambda one, _: (
        f"The relay switched {counted(int(one.value), 'time')} in this span; its {int(one.other or 0)} rated "
        "cycles do not last five such winters. Widen the band."
    ),
    "short-cycles": lambda one, _: (
        f"Heat went on {text.number(one.value, 1)} times an hour; more than "
        f"{text.number(one.other or 0.0, 0)} wears lamp and relay out. "
        "Widen the band, or move the sensor away from the heater."
    ),
}
