"""site.toml: what is not allowed is refused, with what is."""

import pytest

from tests.settings.sites import LEAST, MQTT, problems

_SENSOR = '[[sensor]]\nname = "more"\nrole = "extra"\n'


_PART = '[[building.part]]\nname = "wall"\n'


_PIPE = '[[pipe]]\nname = "riser"\n'


_REFUSED = [
    ("[site]\nnmae = 'x'", "site.nmae: unknown key; did you mean site.name?"),
    ("[sesnor]", "sesnor: unknown key; did you mean sensor?"),
    ("[site]\nname = ''", 'site.name = "": must be text in quotes, 1..64 characters'),
    ("[site]\nname = 5", "site.name = 5: must be text in quotes, 1..64 characters"),
    ("[site]\nunit = 'K'\n[heater]\nbackup_thermostat = 35", 'site.unit = "K": must be F or C'),
    ("[site]\naltitude_m = 9001", "site.altitude_m = 9001: must be -500..9000 m"),
    ("[site]\naltitude_ft = nan", "site.altitude_ft = nan: must be -1640..29528 ft"),
    ("site = 3", "site = 3: must be a table: [site]"),
    ("sensor = 5", "sensor = 5: must be a list of tables: [[sensor]]"),
    (_SENSOR + "kind = 'dht22'", 'sensor[2] "more": pin is missing: a dht22 needs it, a whole number, 0..27'),
    (_SENSOR + "kind = 'iio'", 'sensor[2] "more": path is missing: iio needs it, an absolute path'),
    (_SENSOR + "kind = 'w1'\npath = 'sys/x'", 'sensor[2] "more": path = "sys/x": must be an absolute path'),
    (_SENSOR + "kind = 'w1'\npath = 5", 'sensor[2] "more": path = 5: must be text in quotes'),
    (_SENSOR + "kind = 'bme'", 'sensor[2] "more": kind = "bme": must be dht22, dht11, iio, w1 or simulated'),
    (_SENSOR, 'sensor[2] "more": kind is missing: dht22, dht11, iio, w1 or simulated'),
    (_SENSOR + "kind = 'simulated'\nat = 'floor'", 'sensor[2] "more": at = "floor": must be air or pipe'),
    (_SENSOR + "kind = 'simulated'\noffset_c = 11", 'sensor[2] "more": offset_c = 11: must be -10..10 K'),
    (
        _SENSOR + "kind = 'simulated'\noffset_f = 1",
        "sensor[2].offset_f: unknown key; did you mean sensor[2].offset_c",
    ),
    (_SENSOR + "kind = 'dht22'\npin = 28", 'sensor[2] "more": pin = 28: must be a whole number, 0..27'),
    (_SENSOR + "kind = 'dht22'\npin = true", 'sensor[2] "more": pin = true: must be a whole number, 0..27'),
    (_SENSOR + "kind = 'dht22'\npin = 5.0", 'sensor[2] "more": pin = 5.0: must be a whole number, 0..27'),
    (
        _SENSOR + "kind = 'dht22'\npin = 4",
        'sensor[2] "more": pin = 4: the pin is taken by sensor[1] "pump" (pin); one pin, one use',
    ),
    (
        _SENSOR.replace("more", "pump") + "kind = 'simulated'",
        'sensor[2] "pump": name = "pump": sensor[1] has',
    ),
    (
        _SENSOR.replace("more", "x" * 65) + "kind = 'simulated'",
        f'sensor[2] "{"x" * 60}…": name = "{"x" * 60}…": must',
    ),
    (
        _SENSOR.replace("more", "a\\tb") + "kind = 'simulated'",
        'sensor[2] "a\\tb": name = "a\\tb": must be text',
    ),
    ("[[sensor]]\nrole = 'extra'\nkind = 'simulated'", "sensor[2].name is missing: text in quotes, 1..64"),
    (
        "[[sensor]]\nname = 'x'\nkind = 'simulated'",
        'sensor[2] "x": role is missing: control, outdoor or extra',
    ),
    ("[heater]\nwatts = 0", "heater.watts = 0: must be 1..20000 W"),
    ("[heater]\nwatts = inf", "heater.watts = inf: must be 1..20000 W"),
    ("[heater]\nwatts = true", "heater.watts = true: must be a number without quotes, 1..20000 W"),
    ("[heater]\nwatts = '250'", 'heater.watts = "250": must be a number without quotes, 1..20000 W'),
    ("[heater]\nkind = 'stove'", 'heater.kind = "stove": must be lamp, air or cable'),
    ("[heater]\nlimiter = 1", "heater.limiter = 1: must be true or false, without quotes"),
    ("[heater]\nbackup_thermostat = 105", "heater.backup_thermostat = 105: must be -4..104 F"),
    ("[[contact]]\nname = 'door'\nkind = 'door'", 'contact[1] "door": pin is missing: a contact needs it'),
    (
        "[[contact]]\nname = 'door'\nkind = 'gate'\npin = 5",
        'contact[1] "door": kind = "gate": must be pump, door or',
    ),
    (
        "[[contact]]\nname = 'door'\nkind = 'door'\npin = 17",
        'contact[1] "door": pin = 17: the pin is taken by relay (pin); one pin, one use',
    ),
    ("[tariff]\nper_kwh = -1", "tariff.per_kwh = -1: must be 0..1000000"),
    ("[tariff]\ncurrency = 5", "tariff.currency = 5: must be text in quotes, 1..16 characters"),
    (
        "[logbook]\nmax_bytes = 65535",
        "logbook.max_bytes = 65535: must be a whole number, 65536..1099511627776",
    ),
    ("[logbook]\nmax_bytes = 1e6", "logbook.max_bytes = 1000000.0: must be a whole number, 65536.."),
    ("[building]\nvolume_m3 = 0", "building.volume_m3 = 0: must be 0.1..100000 m3"),
    (
        "[building]\nvolume_m3 = 5\nvolume_ft3 = 5",
        "building.volume_ft3 = 5: volume_m3 is given too; allowed is one",
    ),
    ("[building]\nair_changes_h = -1", "building.air_changes_h = -1: must be 0..100 per hour"),
    ("[building]\ndesign_outdoor = -77", "building.design_outdoor = -77: must be -76..86 F"),
    ("building = []", "building = a list: must be a table: [building]"),
    (
        _PART + "area_m2 = 1",
        'building.part[1] "wall": u_w_m2k is missing: one of u_w_m2k, r_m2k_w, r_us, layers',
    ),
    (_PART + "area_m2 = 1\nu_w_m2k = 1\nr_us = 1", 'building.part[1] "wall": r_us = 1: u_w_m2k is given too'),
    (_PART + "u_w_m2k = 1", 'building.part[1] "wall": area_m2 is missing: one of area_m2, area_ft2'),
    (_PART + "area_m2 = 1\nu_w_m2k = 0", 'building.part[1] "wall": u_w_m2k = 0: must be 0.01..100 W/(m2 K)'),
    (_PART + "area_m2 = 1\nr_us = 0", 'building.part[1] "wall": r_us = 0: must be 0.05..500 ft2 F h/Btu'),
    (_PART + "area_m2 = 1\nr_m2k_w = 0", 'building.part[1] "wall": r_m2k_w = 0: must be 0.01..100 m2 K/W'),
    (
        _PART + "area_m2 = 1\nlayers = []",
        'building.part[1] "wall": layers = a list: must be at least one layer',
    ),
    (
        _PART + "area_m2 = 1\nlayers = [5]",
        'building.part[1] "wall": layers = a list: must be a list of tables',
    ),
    (
        _PART + "area_m2 = 1\nlayers = [{ material = 'cork' }]",
        "building.part[1].layers[1].thickness_m is missing: one of thickness_m, thickness_mm",
    ),
    (
        _PART + "area_m2 = 1\nlayers = [{ thickness_mm = 5 }]",
        "building.part[1].layers[1].material is missing",
    ),
    (
        _PIPE + "outside_mm = 22",
        'pipe[1] "riser": bore_m is missing: one of bore_m, bore_mm, bore_ft, bore_in',
    ),
    (_PIPE + "bore_mm = 22\noutside_mm = 22", 'pipe[1] "riser": outside_mm = 22: must be more than the bore'),
    (_PIPE + "bore_mm = 0.1\noutside_mm = 22", 'pipe[1] "riser": bore_mm = 0.1: must be 0.5..2000 mm'),
    (
        _PIPE + "bore_mm = 20\noutside_mm = 22\ninsulation_mm = -1",
        'pipe[1] "riser": insulation_mm = -1: must be 0..',
    ),
    (
        _PIPE + "bore_mm = 20\noutside_mm = 22\nlength_m = 1\nlength_in = 1",
        'pipe[1] "riser": length_in = 1: length_m is given too; allowed is one of length_m',
    ),
    (
        "[circuit]\ncord_awg = 14\ncord_mm2 = 2",
        "circuit.cord_mm2 = 2: cord_awg is given too; allowed is one of",
    ),
    ("[circuit]\ncord_awg = 31", "circuit.cord_awg = 31: must be a whole number, 0..30"),
    ("[circuit]\nvolts = 0", "circuit.volts = 0: must be 5..500 V"),
    ("[mqtt]\nhost = 'broker.lan'", "mqtt.topic is missing: 1..128 characters, no + or #"),
    (
        MQTT + "host = 'mqtt://broker'",
        'mqtt.host = "mqtt://broker": must be the name or address of a broker',
    ),
    ("[mqtt]\nhost = 'b'\ntopic = 'farm/#'", 'mqtt.topic = "farm/#": must be 1..128 characters, no + or #'),
    ("[mqtt]\nhost = 'b'\ntopic = '$SYS/x'", 'mqtt.topic = "$SYS/x": must be'),
    (MQTT + "host = 'b'\npassword = 'x'", "mqtt.password must not stand in this file: give it to"),
    (MQTT + "host = 'b'\nexpiry_s = 1", "mqtt.expiry_s = 1: must be 10..86400 s"),
    ("[web]\nport = 0", "web.port = 0: must be a whole number, 1..65535"),
    ("[web]\nbind = 'localhost'", 'web.bind = "localhost": must be an address of this machine'),
    (
        "[notices]\ncommand = 'mail me'",
        'notices.command = "mail me": is one text; it must be a list of words',
    ),
    ("[notices]\ncommand = ['mail']", 'notices.command = a list: must be ["/path/of/program"'),
    ("[notices]\ncommand = []", "notices.command = a list: must be"),
    ("[notices]\nled_pin = 17", "notices.led_pin = 17: the pin is taken by relay (pin)"),
    (
        "[notices]\nled_pin = 5\nbuzzer_pin = 5",
        "notices.buzzer_pin = 5: the pin is taken by notices (led_pin)",
    ),
    ("[notices]\nheartbeat_every_s = 60", "notices.heartbeat_every_s = 60: nothing beats at this pace"),
    ("[notices]\nheartbeat_url = 'ftp://x'", 'notices.heartbeat_url = "ftp://x": must be an http://'),
    (
        "[notices]\nheartbeat_url = 'https://x'\nheartbeat_command = ['/bin/true']",
        'notices.heartbeat_url = "https://x": heartbeat_command is given too',
    ),
    (
        "[notices]\nmetrics_file = '/tmp/x.txt'",
        'notices.metrics_file = "/tmp/x.txt": must be the absolute path',
    ),
    ("[notices]\nremind_every_h = 200", "notices.remind_every_h = 200: must be 0..168 h"),
]


@pytest.mark.parametrize(("more", "said"), _REFUSED, ids=[row[1][:48] for row in _REFUSED])
def test_what_is_not_allowed_is_refused_with_what_is(more: str, said: str) -> None:
    # Keys at the top of the file stand before the first table, and there take a table's place.
    text = LEAST + more if more.startswith("[") else more + "\n" + LEAST
    text = text.replace(LEAST, "[relay]\npin = 17\n") if more.startswith("sensor") else text

    found = problems(text)

    assert found[0].startswith(f"site.toml: {said}"), found
    others = [problem for problem in found[1:] if "heat needs something" not in problem]
    assert others == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("pin = 17", "kind = 'gpio'", "relay.pin is missing: a gpio relay needs it, a whole number, 0..27"),
        ("pin = 17", "pin = 17\ncontact = 'no'", 'relay.contact = "no": must be NO or NC'),
        ("pin = 17", "pin = 17\nkind = 'ssr'", 'relay.kind = "ssr": must be gpio or simulated'),
        ("pin = 17", "pin = 17\nactive_high = 'yes'", 'relay.active_high = "yes": must be true or false'),
        (
            "pin = 17",
            "pin = 17\nfeedback_pin = 17",
            "relay.feedback_pin = 17: the pin is taken by relay (pin); one pin, one use",
        ),
        (
            "pin = 17",
            "pin = 4",
            'relay.pin = 4: the pin is taken by sensor[1] "pump" (pin); one pin, one use',
        ),
        (
            "pin = 17",
            "pin = 17\nrated_cycles = 0",
            "relay.rated_cycles = 0: must be a whole number, 1..1000000000",
        ),
        (
            '"control"',
            '"extra"',
            'sensor is missing: heat needs something to go by, at least one [[sensor]] with role = "control"',
        ),
        (
            "dht22",
            "dht11",
            'sensor[1] "pump": kind = "dht11": the only control sensor is one that cannot report below 0 °C',
        ),
    ],
)
def test_relay_and_control_sensor_are_checked(old: str, new: str, said: str) -> None:
    (found,) = problems(LEAST.replace(old, new))

    assert found.startswith(f"site.toml: {said}")
