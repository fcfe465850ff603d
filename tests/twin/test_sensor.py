"""The simulated sensor errs as much as it was asked to, and in no other way."""

import math
from statistics import fmean, pstdev

import pytest

from overwinter.core.nouns import Reading, Refused
from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES
from overwinter.twin.sensor import BURST_SHARE, FLIPS_K, KINDS, Fault, Place, SimulatedSensor

SEED = 20260109


@pytest.fixture
def house() -> House:
    return House(HOUSES["timber shed"], 1, start_c=4.32)


def readings(sensor: SimulatedSensor, count: int, *, since_s: float = 0.0) -> list[Reading]:
    return [sensor.read(since_s + 10.0 * n) for n in range(count)]


def test_it_answers_in_tenths_with_humidity_its_name_and_the_time(house: House) -> None:
    for reading in readings(SimulatedSensor("by the pump", house, SEED), 200):
        assert reading.sensor == "by the pump"
        assert reading.temperature_c is not None
        assert reading.humidity_pct is not None
        assert reading.error is None
        assert reading.temperature_c == round(reading.temperature_c, 1)
        assert reading.humidity_pct == round(reading.humidity_pct, 1)
        assert 0.0 < reading.humidity_pct < 100.0
    assert reading.taken_s == 1990.0


def test_a_wire_like_one_answers_in_sixteenths_without_humidity(house: House) -> None:
    for reading in readings(SimulatedSensor("pipe", house, SEED, "wire-like", place=Place.PIPE), 50):
        assert reading.temperature_c is not None
        assert (reading.temperature_c * 16).is_integer()
        assert reading.humidity_pct is None


def test_its_mean_is_off_by_the_bias_and_its_scatter_is_the_noise(house: House) -> None:
    said_c = [r.temperature_c for r in readings(SimulatedSensor("a", house, SEED, bias_k=0.5), 5000)]

    # 5000 draws of 0.1 K: the mean is known to 0.0014 K; rounding to tenths adds 0.1/sqrt(12) to the scatter.
    assert fmean(said_c) == pytest.approx(4.32 + 0.5, abs=0.006)
    assert pstdev(said_c) == pytest.approx(math.hypot(0.1, 0.1 / math.sqrt(12.0)), rel=0.05)


def test_it_follows_with_its_lag_whether_or_not_reads_succeed() -> None:
    # A house at 0 °C that is suddenly another, at 20: after one lag of 60 s it feels 1 - 1/e of it.
    cold, warm = (House(HOUSES["timber shed"], 1, start_c=c) for c in (0.0, 20.0))
    said_c = []
    for seed in range(400):
        sensor = SimulatedSensor("a", cold, seed)
        sensor.read(0.0)
        sensor._house = warm
        sensor.fault = Fault.LOST
        for now_s in (10.0, 20.0, 45.0):
            assert sensor.read(now_s).temperature_c is None
        sensor.fault = Fault.NONE
        said_c.append(sensor.read(60.0).temperature_c)

    assert fmean(said_c) == pytest.approx(20.0 * (1.0 - math.exp(-1.0)), abs=0.03)


def test_each_place_is_read_where_it_is() -> None:
    house = House(HOUSES["leaky metal shed"], 1, start_c=0.0, water_c=6.0)
    for _ in range(30):
        house.advance(10.0, True, -15.0)
    said = {place: SimulatedSensor("a", house, SEED, place=place).read(300.0) for place in Place}

    assert said[Place.AIR].temperature_c == pytest.approx(house.air_c, abs=0.5)
    assert said[Place.PIPE].temperature_c == pytest.approx(house.pipe_c, abs=0.5)
    assert said[Place.OUTDOOR].temperature_c == pytest.approx(-15.0, abs=0.5)
    assert said[Place.OUTDOOR].humidity_pct == pytest.approx(85.0, abs=3.0)
    assert said[Place.AIR].humidity_pct == pytest.approx(house.humidity_pct, abs=3.0)


@pytest.mark.parametrize("share", [0.0, 0.05, 0.2, 1.0])
def test_so_many_reads_fail_as_were_asked_for(house: House, share: float) -> None:
    said = readings(SimulatedSensor("a", house, SEED, failed_share=share), 20_000)
    failed = [r for r in said if r.temperature_c is None]

    assert len(failed) / 20_000 == pytest.approx(share, abs=0.012)  # four standard deviations at 0.2
    assert all(r.error == "no answer" and r.humidity_pct is None for r in failed)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.1, 0.5])
def test_so_many_readings_are_spikes_as_were_asked_for(house: House, share: float) -> None:
    said = readings(SimulatedSensor("a", house, SEED, failed_share=0.2, spike_share=share), 100_000)
    heard_c = [r.temperature_c for r in said if r.temperature_c is not None]
    off_k = [c - 4.32 for c in heard_c if abs(c - 4.32) > 1.5]

    # 80 000 readings: at 0.01 their number is known to 5 % (spikes cluster), at 0.5 to half a per cent.
    assert len(off_k) / len(heard_c) == pytest.approx(share, abs=0.12 * share * (1.0 - share) ** 2 + 1e-9)
    assert all(min(abs(abs(k) - flip_k) for flip_k in FLIPS_K) < 0.7 for k in off_k)


def test_three_in_ten_outbursts_last_two_or_three_readings_that_agree(house: House) -> None:
    said_c = [r.temperature_c for r in readings(SimulatedSensor("a", house, SEED, spike_share=0.01), 200_000)]
    bursts, run = [], []
    for c in said_c:
        if abs(c - 4.32) > 1.5:
            run.append(c)
        elif run:
            bursts.append(run)
            run = []
    longer = [run for run in bursts if len(run) > 1]

    # Outbursts that happen to touch one another are rarer than one in a hundred.
    assert len(longer) / len(bursts) == pytest.approx(BURST_SHARE, abs=0.05)
    assert sum(len(run) <= 3 for run in longer) / len(longer) > 0.97
    assert sum(max(run) - min(run) < 1.2 for run in longer) / len(longer) > 0.97


def test_the_same_seed_says_the_same_and_another_seed_or_name_does_not(house: House) -> None:
    def said(name: str, seed: int) -> list[Reading]:
        return readings(SimulatedSensor(name, house, seed, failed_share=0.2, spike_share=0.05), 300)

    assert said("a", 1) == said("a", 1)
    assert said("a", 1) != said("a", 2)
    assert [r.temperature_c for r in said("a", 1)] != [r.temperature_c for r in said("b", 1)]


def test_lost_says_nothing_until_it_is_found(house: House) -> None:
    sensor = SimulatedSensor("a", house, SEED)
    sensor.fault = Fault.LOST
    assert {r.temperature_c for r in readings(sensor, 50)} == {None}

    sensor.fault = Fault.NONE
    assert None not in {r.temperature_c for r in readings(sensor, 50, since_s=500.0)}


def test_stuck_repeats_its_last_raw_values_whatever_the_house_does(house: House) -> None:
    sensor = SimulatedSensor("a", house, SEED)
    last = readings(sensor, 5)[-1]
    sensor.fault = Fault.STUCK
    for _ in range(360):
        house.advance(10.0, False, -20.0)

    said = {(r.temperature_c, r.humidity_pct) for r in readings(sensor, 50, since_s=3600.0)}

    assert said == {(last.temperature_c, last.humidity_pct)}


@pytest.mark.parametrize(("kind", "expected"), [("dht-like", (0.0, 0.0)), ("wire-like", (85.0, None))])
def test_a_sentinel_is_the_error_value_of_its_kind(
    house: House, kind: str, expected: tuple[float, float | None]
) -> None:
    sensor = SimulatedSensor("a", house, SEED, kind)
    sensor.fault = Fault.SENTINEL

    assert {(r.temperature_c, r.humidity_pct) for r in readings(sensor, 20)} == {expected}


def test_what_no_sensor_is_gets_refused_all_at_once(house: House) -> None:
    with pytest.raises(Refused) as refused:
        SimulatedSensor("a", house, SEED, "mercury", bias_k=math.nan, failed_share=-0.1, spike_share=1.0)

    assert [p.key for p in refused.value.problems] == ["kind", "bias_k", "failed_share", "spike_share"]
    assert "kind = 'mercury': must be dht-like or wire-like" in str(refused.value)
    assert set(KINDS) == {"dht-like", "wire-like"}


def test_it_can_be_made_to_lie_more_and_less(house: House) -> None:
    sensor = SimulatedSensor("by the pump", house, SEED)

    def lies() -> float:
        said = [reading.temperature_c or 0.0 for reading in readings(sensor, 3000)]
        return sum(abs(temperature_c - 4.32) > 2.0 for temperature_c in said) / len(said)

    assert lies() == 0.0
    sensor.spike(0.2)
    assert lies() == pytest.approx(0.2, abs=0.03)
    sensor.spike(0.0)
    readings(sensor, 3)  # a burst that had begun ends
    assert lies() == 0.0
    with pytest.raises(Refused):
        sensor.spike(0.95)


def test_after_a_power_cut_its_time_begins_anew_at_the_temperature_around_it(house: House) -> None:
    sensor = SimulatedSensor("by the pump", house, SEED)
    sensor.read(1e6)
    for _ in range(200):
        house.advance(60.0, False, -20.0)
    sensor.power_up()

    assert sensor.read(20.0).temperature_c == pytest.approx(house.air_c, abs=0.6)


def test_only_those_in_the_air_are_cheap(house: House) -> None:
    assert SimulatedSensor("a", house, SEED).is_cheap
    assert not SimulatedSensor("a", house, SEED, "wire-like").is_cheap
