"""Hypothesis strategies: settings that keep every rule, and text that may keep none."""

from hypothesis import strategies as st

from overwinter.core.nouns import Mode, Settings
from overwinter.core.units import Unit, c_from_f, from_c
from overwinter.settings.schema import BY_KEY, GAPS, ROWS, Kind


def between(lo: float, hi: float) -> st.SearchStrategy[float]:
    return st.floats(lo, hi, allow_nan=False)


@st.composite
def sound_settings(draw: st.DrawFn) -> Settings:
    low_c = draw(between(-40.0, c_from_f(100.0) - 0.6))
    high_c = draw(between(low_c + 0.5, c_from_f(100.0)))
    sense_s = draw(between(1.0, 300.0))
    settings = Settings(
        mode=draw(st.sampled_from(Mode)),
        unit=draw(st.sampled_from(Unit)),
        low_c=low_c,
        high_c=high_c,
        sense_s=sense_s,
        record_s=draw(between(sense_s, 3600.0)),
        window=draw(st.integers(0, 15)) * 2 + 1,
        max_rate_k_min=draw(between(0.5, 600.0)),
        flat_after_s=draw(between(60.0, 86_400.0)),
        lost_after_s=draw(between(3.0, 3600.0)),
        blind_duty=draw(between(0.1, 1.0)),
        warm_above_c=draw(between(c_from_f(40.0), c_from_f(140.0))),
        min_on_s=draw(between(0.0, 900.0)),
        min_off_s=draw(between(0.0, 900.0)),
        ceiling_c=draw(between(high_c + 3.0, c_from_f(140.0))),
        alarm_low_c=draw(between(c_from_f(-50.0), low_c - 1e-6)),
        exercise_every_days=draw(between(0.0, 60.0)),
        exercise_for_s=draw(between(60.0, 1800.0)),
    )
    assert all(gap.holds(settings) for gap in GAPS)
    return settings


_numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(repr),
    st.integers(-200, 4000).map(str),
    st.sampled_from(["36F", "2.2C", "3,5", "0x" + "f" * 4000, "9" * 4400, "1e400", "-0.0", "+33.8", "1_0"]),
)
_values = st.one_of(
    _numbers,
    st.sampled_from(
        ["true", "freeze", '"freeze"', "'warm'", '"F"', '"C"', "[]", "{}", "[" * 3000, "2026-01-09"]
    ),
    st.text(max_size=8).map(lambda text: f'"{text}"'),
)
_keys = st.one_of(
    st.sampled_from([row.key for row in ROWS]),
    st.sampled_from([row.name for row in ROWS]),
    st.text("abc._-\"' ", min_size=1, max_size=8),
)
_heads = st.sampled_from([row.table for row in ROWS] + ["sensor", "relay", "building"]).map("[{}]".format)
_lines = st.one_of(
    _heads,
    _heads.map("[{}]".format),
    st.builds("{} = {} # {}".format, _keys, _values, st.text("ab °", max_size=4)),
    st.text(max_size=12),
)
texts = st.lists(_lines, max_size=12).flatmap(
    lambda lines: st.sampled_from(["\n", "\r\n"]).map(lambda end: end.join(lines))
)

_wild = st.one_of(
    st.sampled_from(
        ["F", "C", "freeze", "warm", "observe", "20m", "7d", "36F", "33.8F", "2.2C", "-1C", "nan", ""]
    ),
    st.floats(),
    st.integers(-5, 200),
    st.booleans(),
    st.none(),
    st.lists(st.integers(), max_size=1),
    st.text(max_size=6),
)


@st.composite
def asked_changes(draw: st.DrawFn, before: Settings) -> dict[str, object]:
    """Some keys of other settings that keep every rule, said in any way, and now and then nonsense."""
    after = draw(sound_settings())
    changes: dict[str, object] = {}
    for key in draw(st.lists(st.sampled_from(list(BY_KEY)), min_size=1, max_size=6, unique=True)):
        row = BY_KEY[key]
        value = getattr(after, row.field)
        if draw(st.integers(0, 19)) == 0:
            changes[key] = draw(_wild)
        elif row.kind is Kind.CHOICE:
            changes[key] = str(value)
        elif row.kind is Kind.TEMPERATURE:
            # Near to what it was, so that the rules between keys are often kept.
            celsius = getattr(before, row.field) + draw(between(-0.4, 0.4))
            bare = from_c(celsius, before.unit)
            changes[key] = draw(
                st.sampled_from([bare, f"{bare:.3f}", f"{celsius:.4f}C", f"{from_c(celsius, Unit.F):.2f} °F"])
            )
        else:
            changes[key] = draw(st.sampled_from([value, str(round(value))]))
    return changes
