"""A span says what the logbook's sample of the same minute says, and what no sample does."""

import pytest

from overwinter.core.nouns import (
    Caller,
    ContactSpec,
    ContactState,
    Mode,
    Reading,
    Role,
    SensorSpec,
    SetHand,
    Settings,
    Site,
)
from overwinter.core.state import State
from overwinter.core.turn import turn
from overwinter.guard.spans import Spans
from overwinter.know.nouns import Span  # noqa: TC001 (as the other nouns)

SITE = Site(
    sensors=(
        SensorSpec(name="by the pump", role=Role.CONTROL, kind="simulated"),
        SensorSpec(name="yard", role=Role.OUTDOOR, kind="simulated"),
    ),
    contacts=(ContactSpec(name="door", kind="door", pin=22),),
)
SETTINGS = Settings(low_c=2.0, high_c=4.0, min_on_s=0.0, min_off_s=0.0)


class Minutes:
    """A guard without a shell: turns every ten seconds, and keeps what both tell."""

    def __init__(self, settings: Settings = SETTINGS, *, gap_s: float = 0.0) -> None:
        self.state = State(SITE, settings, 0.0)
        self.spans = Spans(self.state, 0.0, gap_s=gap_s)
        self.now_s = 0.0
        self.seen: list[Span] = []
        self.samples: list[dict[str, object]] = []

    def live(self, *said: float | None, flows: bool | None = None, also: object = None) -> None:
        for air_c in said:
            self.now_s += 10.0
            inbox: list[object] = [
                Reading(sensor="by the pump", taken_s=self.now_s, temperature_c=air_c, humidity_pct=70.0),
                Reading(sensor="yard", taken_s=self.now_s, temperature_c=-5.0),
            ]
            if also is not None:
                inbox.append(also)
            outcome = turn(self.state, inbox, self.now_s)  # type: ignore[arg-type]
            self.samples += [dict(event.fields) for event in outcome.events if event.name == "sample"]
            if self.spans.see(outcome.decision, flows, self.now_s):
                self.seen.append(self.spans.end(self.now_s, 1.7e9 + self.now_s))


def test_a_span_is_the_sample_of_its_minute() -> None:
    minutes = Minutes()
    minutes.live(*[3.0] * 6, *[1.0] * 6, *[1.5] * 6)

    assert len(minutes.seen) == len(minutes.samples) == 3
    for span, sample in zip(minutes.seen, minutes.samples, strict=True):
        assert span.lasts_s == 60.0
        assert (span.temperature_c, span.humidity_pct) == (sample["temperature_c"], sample["humidity_pct"])
        assert span.outdoor_c == sample["outdoor_c"] == -5.0
        assert span.heat == pytest.approx(sample["heat"], abs=1e-4)
        assert (span.mode, span.low_c, span.high_c) == (Mode.FREEZE, 2.0, 4.0)
        raw = {
            name: [seen.temperature_c, seen.humidity_pct, seen.flag] for name, seen in span.sensors.items()
        }
        assert raw == sample["sensors"]
    assert 0.0 < minutes.seen[1].heat < 1.0
    assert [span.utc_s for span in minutes.seen] == [1.7e9 + 60.0, 1.7e9 + 120.0, 1.7e9 + 180.0]


def test_a_minute_is_a_minute_whatever_is_recorded() -> None:
    minutes = Minutes(Settings(low_c=2.0, high_c=4.0, record_s=600.0))
    minutes.live(*[3.0] * 12)

    assert minutes.samples == []
    assert [span.ends_s for span in minutes.seen] == [60.0, 120.0]


def test_heat_that_the_band_did_not_choose_is_said_to_be_forced() -> None:
    minutes = Minutes()
    minutes.live(*[3.0] * 6)
    by_hand = SetHand(ticket=1, caller=Caller(uid=0, user="root", pid=1), heat=True, for_s=30.0)
    minutes.live(3.0, also=by_hand)
    minutes.live(*[3.0] * 11)

    assert [span.is_forced for span in minutes.seen] == [False, True, False]


def test_current_is_the_share_of_looks_that_saw_it_flow() -> None:
    minutes = Minutes()
    minutes.live(*[3.0] * 3, flows=True)
    minutes.live(*[3.0] * 3, flows=False)
    minutes.live(*[3.0] * 6)

    assert [span.current for span in minutes.seen] == [0.5, None]


def test_an_input_is_told_by_the_share_of_its_own_span() -> None:
    minutes = Minutes()
    minutes.live(3.0, also=ContactState(name="door", active=True))
    minutes.live(*[3.0] * 5)
    minutes.live(*[3.0] * 3)
    minutes.live(3.0, also=ContactState(name="door", active=False))
    minutes.live(*[3.0] * 2)

    assert [span.contacts["door"] for span in minutes.seen] == pytest.approx([5 / 6, 4 / 6])
    assert [sample["contacts"] for sample in minutes.samples] == [{"door": 0.8333}, {"door": 0.6667}]


def test_while_blind_there_is_no_temperature() -> None:
    minutes = Minutes()
    minutes.live(*[3.0] * 6)
    minutes.live(*[None] * 18)

    assert [span.temperature_c for span in minutes.seen][-1] is None
    assert minutes.seen[-1].flag == 9
    assert minutes.seen[-1].is_forced


def test_the_silence_before_a_start_belongs_to_the_first_span_alone() -> None:
    minutes = Minutes(gap_s=7200.0)
    minutes.live(*[3.0] * 12)

    assert [span.gap_s for span in minutes.seen] == [7200.0, 0.0]
