"""Faults of relay, heater and building: what each breaks, what must be told and when, and what heat does."""

from overwinter.core.nouns import Caller, ContactSpec, ContactState, RelaySpec
from overwinter.rehearse.run import Run
from tests.faults.nouns import HOUR_S, Row
from tests.faults.rehearsed import AIR, PIPE, Rehearsed, each_turn, fault

SOON_S = 600.0
"""A dead heater once heat is asked for, and an open door: told within so long."""

OWNER = Caller(uid=1000, user="owner", pid=1)
FLOOR = ContactSpec(name="floor", kind="wet", pin=22)


def _water(run: Run, is_first: bool) -> None:
    assert run.guard is not None
    if is_first:
        run.guard._inbox.post(ContactState(name=FLOOR.name, active=True))


def _by_hand(*, heat: bool) -> Rehearsed:
    """Heat by hand for twelve hours."""

    def act(run: Run, is_first: bool) -> None:
        assert run.guard is not None
        if is_first:
            run.guard.port.hand(heat=heat, for_s=12 * HOUR_S, caller=OWNER)

    if heat:
        return Rehearsed(
            told="alarm too-hot",
            prepare=each_turn(act),
            house="insulated box",
            outdoor_c=(8.0, 6.0),
            start_c=6.0,
            heater_w=500.0,
            settles_s=5 * HOUR_S,
            ends_s=5 * HOUR_S + 60.0,
            hours=8.0,
        )
    return Rehearsed(told="event hand ended", prepare=each_turn(act), settles_s=3 * HOUR_S, hours=12.0)


ROWS = (
    Row(
        id="heater-dead-at-switch-on",
        of="heater",
        breaks="the lamp has burnt through",
        how="no heat and no current, whatever the relay does, after half a night in which it was learned",
        told="alarm heater-dead",
        within_s=SOON_S + 20.0,
        heat="on",
        why="heat is asked for; people are told that none comes",
        may_freeze=True,
        drive=Rehearsed(
            told="alarm heater-dead",
            faults=(fault("heater-dead", at_h=12.0),),
            hours=15.0,
            settles_s=HOUR_S,
            from_first_heat=True,
        ),
    ),
    Row(
        id="heater-dies-while-on",
        of="heater",
        breaks="the heater dies in the middle of a phase of heat",
        how="no heat and no current from then on, in a timber shed, after half a night",
        told="alarm heater-dead",
        within_s=SOON_S + 20.0,
        heat="on",
        why="heat is asked for; people are told that none comes",
        may_freeze=True,
        drive=Rehearsed(
            told="alarm heater-dead",
            faults=(fault("heater-dead", at_h=11.0),),
            hours=14.0,
            settles_s=1800.0,
            from_first_heat=True,
        ),
    ),
    Row(
        id="heater-dead-backstop",
        of="heater",
        breaks="the heater is dead, and nobody has seen it",
        how="no heat and no current, until the house is cold",
        told="alarm cold",
        within_s=2 * HOUR_S,
        heat="on",
        why="told at alarm_low, before there is ice",
        may_freeze=True,
        drive=Rehearsed(told="alarm cold", faults=(fault("heater-dead"),), settles_s=2 * HOUR_S),
    ),
    Row(
        id="half-of-the-heater-gone",
        of="heater",
        breaks="one of two lamps has burnt through",
        how="half the watts, in weather that half can bear",
        told="",
        within_s=None,
        heat="band",
        why="while half is enough, nothing differs but the length of the phases, as in colder weather",
        cure="the yearly proof test; two lamps, each enough; in harder weather the alarm `cold`",
        drive=Rehearsed(heater_w=375.0, outdoor_c=(0.0, -2.0), at_h=0.0),
    ),
    Row(
        id="heater-too-small",
        of="heater",
        breaks="the heater cannot hold the band in this weather",
        how="400 W in a timber shed at -6 to -12 °C, never heated before",
        told="alarm heater-too-small",
        within_s=3 * HOUR_S,
        heat="on",
        why="all that there is",
        may_freeze=True,
        drive=Rehearsed(
            told="alarm heater-too-small",
            heater_w=400.0,
            at_h=0.5,
            settles_s=HOUR_S,
            hours=14.0,
        ),
    ),
    Row(
        id="heater-too-small-backstop",
        of="heater",
        breaks="the heater cannot hold the band in this weather",
        how="150 W in a timber shed at -6 to -12 °C, until the house is cold",
        told="alarm cold",
        within_s=4 * HOUR_S,
        heat="on",
        why="all that there is; told at alarm_low, before there is ice",
        may_freeze=True,
        drive=Rehearsed(told="alarm cold", heater_w=150.0, at_h=0.2, settles_s=HOUR_S),
    ),
    Row(
        id="contact-welded",
        of="relay",
        breaks="the relay's contact is welded",
        how="heat, whatever the relay does, in a leaky metal shed, after half a night",
        told="alarm heat-stuck-on",
        within_s=HOUR_S,
        heat="off",
        why="the relay is released; only the high limit and the breaker can end it, so people are told",
        drive=Rehearsed(
            told="alarm heat-stuck-on",
            faults=(fault("contact-welded", at_h=11.0),),
            house="leaky metal shed",
            settles_s=1200.0,
            hours=24.0,
        ),
    ),
    Row(
        id="short-cycling",
        of="relay",
        breaks="settings or a draught make the relay switch all the time",
        how="a band of 0.5 K without minimum times, a strong heater in a leaky metal shed",
        told="alarm short-cycling",
        within_s=24 * HOUR_S,
        heat="band",
        why="the pipes are warm; the relay's contacts wear",
        is_dangerous=False,
        drive=Rehearsed(
            told="alarm short-cycling",
            settings={
                "band.high": "37F",
                "relay.min_on_s": 0,
                "relay.min_off_s": 0,
                "sampling.sense_s": 5,
            },
            house="leaky metal shed",
            outdoor_c=(-3.0, -5.0),
            heater_w=3000.0,
            hours=26.0,
            at_h=0.0,
        ),
    ),
    Row(
        id="relay-worn",
        of="relay",
        breaks="the relay nears the end of its rated life",
        how="a relay of five cycles",
        told="alarm relay-worn",
        within_s=8 * HOUR_S,
        heat="band",
        why="told while it still works",
        drive=Rehearsed(
            told="alarm relay-worn", relay=RelaySpec(kind="simulated", rated_cycles=5), at_h=0.0, hours=10.0
        ),
    ),
    Row(
        id="door-wide-open",
        of="building",
        breaks="the door stands wide open on a cold night",
        how="40 more air changes an hour",
        told="alarm cooling-fast",
        within_s=SOON_S,
        heat="on",
        why="below the band heat is on, and may not be enough: people are told",
        may_freeze=True,
        drive=Rehearsed(
            told="alarm cooling-fast", faults=(fault("door-open", by=40.0),), settles_s=900.0, ends_s=3600.0
        ),
    ),
    Row(
        id="door-wide-open-backstop",
        of="building",
        breaks="the door stands wide open on a cold night",
        how="40 more air changes an hour, until the house is cold",
        told="alarm cold",
        within_s=1800.0,
        heat="on",
        why="below the band heat is on; told at alarm_low, before there is ice",
        may_freeze=True,
        drive=Rehearsed(
            told="alarm cold", faults=(fault("door-open", by=40.0),), settles_s=1200.0, ends_s=3600.0
        ),
    ),
    Row(
        id="door-ajar",
        of="building",
        breaks="the door is ajar",
        how="one more air change an hour",
        told="",
        within_s=None,
        heat="band",
        why="the heater holds the band, at a price",
        is_dangerous=False,
        drive=Rehearsed(faults=(fault("door-open", by=1.0),), outdoor_c=(-2.0, -5.0)),
    ),
    Row(
        id="pipe-colder-than-the-sensor",
        of="building",
        breaks="a pipe on the outer wall, colder than the air at the sensor",
        how="a block house whose pipe lies on the wall, the sensor in the air",
        told="",
        within_s=None,
        heat="band",
        why="the air is in its band; of the pipe nobody says anything",
        cure='a control sensor on that pipe (at = "pipe"), or the band that `plan` advises',
        may_freeze=True,
        drive=Rehearsed(
            house="uninsulated block house",
            pipe_on_wall=True,
            outdoor_c=(-10.0, -18.0),
            at_h=0.0,
            settles_s=HOUR_S,
        ),
    ),
    Row(
        id="water-on-the-floor",
        of="building",
        breaks="water stands on the floor",
        how="the contact of kind wet closes",
        told="alarm wet-floor",
        within_s=30.0,
        heat="band",
        why="heat has nothing to do with it; people are told",
        drive=Rehearsed(told="alarm wet-floor", contacts=(FLOOR,), prepare=each_turn(_water)),
    ),
    Row(
        id="hot-day",
        of="building",
        breaks="a shed in July",
        how="32 to 38 °C indoors and out",
        told="",
        within_s=None,
        heat="off",
        why="too hot by itself is no alarm: no heat ran",
        is_dangerous=False,
        drive=Rehearsed(start_c=32.0, outdoor_c=(38.0, 30.0)),
    ),
    Row(
        id="froze-while-away",
        of="building",
        breaks="the pipe may have frozen while the power was away",
        how="no power for a day at -6 to -12 °C",
        told="alarm may-have-frozen",
        within_s=25 * HOUR_S,
        heat="on",
        why="thawing goes on as ever; people are told before they open the valve",
        may_freeze=True,
        drive=Rehearsed(
            told="alarm may-have-frozen",
            faults=(fault("power-cut", 24.0),),
            hours=40.0,
            settles_s=30 * HOUR_S,
            sensors=(AIR, PIPE),
        ),
    ),
    Row(
        id="heat-by-hand-forgotten",
        of="person",
        breaks="heat on by hand for twelve hours, and forgotten",
        how="a strong heater in a small box",
        told="alarm too-hot",
        within_s=6 * HOUR_S,
        heat="off",
        why="the ceiling stands above every command",
        drive=_by_hand(heat=True),
    ),
    Row(
        id="off-by-hand-forgotten",
        of="person",
        breaks="heat off by hand for twelve hours on a cold night, and forgotten",
        how="the command, and nothing after it",
        told="event hand ended",
        within_s=4 * HOUR_S,
        heat="band",
        why="off by hand ends for good at alarm_low: it must never cost a pipe",
        drive=_by_hand(heat=False),
    ),
    Row(
        id="observe-forgotten",
        of="person",
        breaks="mode observe left on in winter",
        how="the mode, at -6 to -12 °C",
        mode="observe",
        told="alarm cold",
        within_s=6 * HOUR_S,
        heat="off",
        why="observe never heats, as asked; that it is cold is told",
        may_freeze=True,
        drive=Rehearsed(told="alarm cold", settings={"mode": "observe"}, at_h=0.0),
    ),
    Row(
        id="owner-types-nonsense",
        of="person",
        breaks="an owner who types whatever comes to mind",
        how="a command every ten minutes, many of them absurd",
        told="event refused",
        within_s=2 * HOUR_S,
        heat="band",
        why="what is absurd is refused and changes nothing",
        drive=Rehearsed(told="event refused", faults=(fault("owner-nonsense"),), hours=10.0),
    ),
)
