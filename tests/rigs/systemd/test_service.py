"""What the owner is promised of the service, under a real systemd: one boot, everything found out in it.

What it cannot show: MemoryMax=, TasksMax= and DeviceAllow= are not enforced in such a machine, and there are
no GPIO lines in it.
"""

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from overwinter.core.units import c_from_f
from tests.rigs.systemd import endings, inside, machine

READY_WITHIN_S = 5.0
RECOVERED_WITHIN_S = 10.0
"""After a kill, with a rest of 0.1 s; after a freeze the watchdog of the test waits 3 s of it."""

PROVOKED = (
    "alarm: code='cold'",
    "refused: method='",
    "reload refused",
    "refused, the running values stay",
    "Reload failed",
    "Control process exited, code=exited, status=1/FAILURE",
    "Main process exited, code=killed, status=9/KILL",
    "Main process exited, code=killed, status=6/ABRT",
    "Failed with result 'signal'.",
    "Failed with result 'watchdog'.",
    "Watchdog timeout",
    "reading failed: sensor='by the pump'",
    "sensor lost: sensor='by the pump'",
    "sensor found: sensor='by the pump'",
    "overwinter.socket",
    "no control socket",
)
"""What this rig does to the guard is told, as it must be."""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    facts = machine.findings(tmp_path_factory.mktemp("machine"))
    print({name: chapter["took_s"] for name, chapter in facts.items()})
    return facts


@pytest.fixture
def chapter(found: dict[str, Any], request: pytest.FixtureRequest) -> dict[str, Any]:
    """What the chapter named by `of` found out."""
    facts: dict[str, Any] = found[request.param]
    assert "failed" not in facts, facts["failed"]
    return facts


def of(name: str) -> pytest.MarkDecorator:
    """The test looks at this chapter."""
    return pytest.mark.parametrize("chapter", [name], indirect=True)


@of("starts")
def test_it_is_ready_within_five_seconds(chapter: dict[str, Any]) -> None:
    print(f"start to ready: {chapter['ready_s']:.2f} s")

    assert chapter["started"]["code"] == 0, chapter["started"]
    assert chapter["ready_s"] < READY_WITHIN_S


@of("starts")
def test_enabling_the_service_enables_its_socket(chapter: dict[str, Any]) -> None:
    assert chapter["enabled"] == ["enabled", "enabled"]
    assert chapter["states"] == {"service": "active", "socket": "active"}


@of("starts")
def test_systemctl_status_tells_temperature_heat_and_alarms(chapter: dict[str, Any]) -> None:
    assert 'Status: "freeze: 37.4 F, heat off (inside-band), band 36.0-40.0 F"' in chapter["status"]
    assert (
        'Status: "freeze: 33.8 F, heat on (below-band), band 37.0-41.0 F; ALARM cold"'
        in chapter["status when cold"]
    )


@of("confined")
def test_the_guard_is_nobody_in_particular_and_can_never_be_more(chapter: dict[str, Any]) -> None:
    uid, gid, gpio = map(str, chapter["user"])

    assert chapter["status"]["Uid"] == [uid] * 4
    assert chapter["status"]["Gid"] == [gid] * 4
    assert sorted(chapter["status"]["Groups"]) == sorted([gid, gpio])
    assert chapter["status"]["NoNewPrivs"] == ["1"]
    assert set(chapter["capabilities"]) == {"CapInh", "CapPrm", "CapEff", "CapBnd", "CapAmb"}
    assert set(chapter["capabilities"].values()) == {0}


@of("confined")
def test_system_calls_are_filtered(chapter: dict[str, Any]) -> None:
    assert chapter["status"]["Seccomp"] == ["2"]  # SECCOMP_MODE_FILTER, proc(5)


@of("confined")
def test_the_guard_has_no_network(chapter: dict[str, Any]) -> None:
    own, machines = chapter["networks"]

    assert own != machines, "the machine has none but lo either, so that alone shows nothing"
    assert chapter["interfaces"] == ["lo"]
    assert chapter["routes"] == []


@of("confined")
def test_the_guard_writes_in_its_own_folders_only(chapter: dict[str, Any]) -> None:
    assert chapter["writable"] == [
        *("/var/lib/overwinter", "/var/log/overwinter", "/run/overwinter"),
        *("/tmp", "/var/tmp"),  # its own ones, empty and gone with it
    ]
    assert chapter["home"]["code"] != 0
    assert "Permission denied" in chapter["home"]["err"]


@of("confined")
def test_its_folders_are_its_own_and_what_is_wired_is_the_owners(chapter: dict[str, Any]) -> None:
    own = "overwinter:overwinter"

    assert chapter["owners"] == {
        "/var/lib/overwinter": own,
        "/var/log/overwinter": own,
        "/run/overwinter": own,
        "/etc/overwinter": "root:root",
    }


@of("confined")
def test_when_memory_runs_out_the_guard_dies_last(chapter: dict[str, Any]) -> None:
    score, may_be_adjusted = chapter["oom_score_adj"]
    if not may_be_adjusted:
        pytest.skip("this machine has no CAP_SYS_RESOURCE: nobody on it may lower a score")

    assert score == -900


@of("confined")
def test_a_guard_that_the_watchdog_ends_leaves_no_core_in_memory(chapter: dict[str, Any]) -> None:
    assert chapter["core"] == [["0", "0"]], "soft and hard limit"


@of("permits")
def test_who_is_outside_the_group_may_ask_but_not_change(chapter: dict[str, Any]) -> None:
    asked = chapter["asked"][inside.OUTSIDER]
    complaint = asked["change"]["err"]

    assert "overwinter" not in asked["groups"]
    assert asked["read"]["code"] == 0
    assert asked["change"]["code"] == 1
    assert "not in the group overwinter" in complaint
    assert f"sudo usermod -aG overwinter {inside.OUTSIDER}" in complaint


@of("permits")
def test_a_refusal_is_recorded_with_who_it_was(chapter: dict[str, Any]) -> None:
    (refused,) = chapter["refused"]

    assert refused["uid"] == chapter["asked"][inside.OUTSIDER]["uid"]
    assert refused["user"] == inside.OUTSIDER
    assert refused["pid"] > 1


@of("permits")
def test_members_may_change_whether_the_group_is_their_main_one_or_not(chapter: dict[str, Any]) -> None:
    member, by_main_group = (chapter["asked"][user] for user in (inside.MEMBER, inside.BY_MAIN_GROUP))

    assert member["groups"] == [inside.MEMBER, "overwinter"]
    assert by_main_group["groups"] == ["overwinter"]
    assert member["change"]["code"] == by_main_group["change"]["code"] == 0, (member, by_main_group)
    assert chapter["ceiling_c"] == pytest.approx(c_from_f(77.0), abs=1e-4), (
        "75 F, then by one F after another"
    )


@of("permits")
def test_a_change_is_recorded_with_who_made_it(chapter: dict[str, Any]) -> None:
    users = (inside.MEMBER, inside.BY_MAIN_GROUP)

    assert [(line["user"], line["uid"]) for line in chapter["settings"]] == [
        (user, chapter["asked"][user]["uid"]) for user in users
    ]
    assert all(line["pid"] > 1 for line in chapter["settings"])


@of("reloads")
def test_a_reload_takes_a_changed_site(chapter: dict[str, Any]) -> None:
    print(f"of 10 reloads {chapter['at_once']} were done when systemctl came back")

    assert chapter["codes"] == [0] * 10
    assert chapter["site"] == "bench 9"
    assert chapter["is_same_process"]


@of("reloads")
def test_a_reload_refuses_a_broken_site_and_the_running_one_stays(chapter: dict[str, Any]) -> None:
    broken, rewired = chapter["refused"]

    assert chapter["broken"]["code"] != 0, "systemctl itself says that it failed"
    assert chapter["rewired"]["code"] != 0
    assert chapter["site"] == "bench 9"
    assert chapter["states"]["service"] == "active"
    assert "site.toml: line 14, column 12" in broken["text"]
    assert "needs a restart" in rewired["text"]


@of("reloads")
def test_systemctl_status_tells_why_a_reload_was_refused(chapter: dict[str, Any]) -> None:
    assert "reload refused, the running values stay" in chapter["status"]
    assert "site.toml: line 14, column 12" in chapter["status"]


@of("keeps_callers")
def test_no_call_is_refused_through_restarts_and_kills(chapter: dict[str, Any]) -> None:
    """A caller waits. A call that a guard had taken before its end is cut off, which is another thing."""
    counts = chapter["counts"]
    print(f"calls {counts}, by restarts {chapter['by restart']}; the longest took {chapter['longest_s']} s")
    print(f"away for [s] {chapter['pauses']}")

    assert set(counts) <= {"answered", "cut off"}, chapter["odd"]
    assert counts["answered"] > 300
    assert "cut off" not in chapter["by restart"], "who has asked is answered before an orderly end"
    assert counts.get("cut off", 0) <= endings.CALLERS * endings.RESTARTS, (
        "each kill has cut each caller once"
    )


@of("keeps_callers")
def test_a_restart_keeps_the_socket(chapter: dict[str, Any]) -> None:
    assert chapter["is_same_socket"]


@of("survives")
def test_a_guard_killed_or_frozen_is_replaced_by_one_that_runs(chapter: dict[str, Any]) -> None:
    recovered_s = chapter["recovered_s"]
    print(f"running again after [s] {recovered_s}")

    assert len(recovered_s["kill"]) == endings.KILLS == 20
    assert len(recovered_s["freeze"]) == endings.HANGS
    assert max(recovered_s["kill"] + recovered_s["freeze"]) < RECOVERED_WITHIN_S
    assert chapter["states"] == {"service": "active", "socket": "active"}
    assert chapter["alarms"] == []


@of("survives")
def test_supervision_never_gives_up(chapter: dict[str, Any]) -> None:
    """It would by default, at some starts within ten seconds; the drop-in says two."""
    assert max(map(sum, pairwise(chapter["recovered_s"]["kill"]))) < 10.0, "else this shows nothing"
    assert chapter["restarts"] == endings.KILLS + endings.HANGS


@of("survives")
def test_the_owners_band_outlives_twenty_kills(chapter: dict[str, Any]) -> None:
    assert chapter["bands"] == [inside.BAND_F] * (endings.KILLS + endings.HANGS)


@of("survives")
def test_what_lets_the_relay_go_runs_after_each_kill(chapter: dict[str, Any]) -> None:
    assert chapter["ends"] == ["signal"] * endings.KILLS + ["watchdog"] * endings.HANGS


@of("survives")
def test_ends_leave_nothing_lying_about(chapter: dict[str, Any]) -> None:
    assert chapter["left behind"] == ["control.sock", endings.ENDS.name, "last-believed.json"]


@of("stops")
def test_a_stopped_guard_stays_stopped_however_much_it_is_asked(chapter: dict[str, Any]) -> None:
    print(f"stopped within {chapter['stopped_s']:.2f} s; then asked {chapter['callers']['counts']}")

    assert chapter["stop"]["code"] == 0
    assert chapter["stopped"] == {"service": "inactive", "socket": "inactive"}
    assert chapter["callers"]["counts"]["refused"] > 100
    assert chapter["asked"]["code"] == 3
    assert chapter["result"] == "success"


@of("stops")
def test_what_lets_the_relay_go_runs_after_a_stop(chapter: dict[str, Any]) -> None:
    assert chapter["ends"] == ["success"]


@of("stops")
def test_a_start_brings_the_socket_back_too(chapter: dict[str, Any]) -> None:
    assert chapter["started"] == {"service": "active", "socket": "active"}
    assert chapter["asked again"]["code"] == 0


@of("stops")
def test_the_blind_clock_lies_there_while_the_guard_does_not_run(chapter: dict[str, Any]) -> None:
    assert chapter["blind clock"]["boot"] == chapter["boot"]
    assert chapter["blind clock"]["believed_s"] > 0.0
    assert chapter["blind clock"]["believed_c"] == 3.0


@of("remembers")
@pytest.mark.parametrize("end", ["restart", "kill"])
def test_no_end_of_the_guard_winds_the_blind_clock_back(chapter: dict[str, Any], end: str) -> None:
    age_s, silent_s = chapter[end]

    assert silent_s > 3.0
    assert age_s == pytest.approx(silent_s, abs=1.5), "a reading a second, and a turn a second"


@of("is_let_alone")
def test_the_guard_never_does_what_is_forbidden_to_it(chapter: dict[str, Any]) -> None:
    """A forbidden system call would have ended it."""
    assert chapter["restarts"] == ["0", "0"]
    assert chapter["ends"] == ["success"]


@of("heats_unheard")
def test_a_guard_without_its_socket_heats_all_the_same(chapter: dict[str, Any]) -> None:
    assert chapter["began"]["code"] == 0
    assert chapter["deaf"]["service"] == "active"
    assert chapter["deaf"]["socket"] == "failed"
    assert "33.8 F, heat on (below-band)" in chapter["deaf"]["status"]
    assert chapter["mended"]["asked"]["code"] == 0


@of("heats_unheard")
def test_stopping_the_socket_alone_does_not_stop_the_guard(chapter: dict[str, Any]) -> None:
    assert chapter["alone"] == {"service": "active", "socket": "inactive"}
    assert chapter["again"] == {"service": "active", "socket": "active"}


@of("keeps_houses_apart")
def test_two_houses_live_side_by_side(chapter: dict[str, Any]) -> None:
    if not chapter["is_template"]:
        pytest.skip(f"there is no overwinter@.service in {machine.UNITS}")

    assert chapter["started"]["code"] == 0
    assert (chapter["barn"]["site"], chapter["barn"]["temperature_c"]) == ("barn", 5.0)
    assert (chapter["bench"]["site"], chapter["bench"]["temperature_c"]) == ("bench", 3.0)
    assert chapter["barn"]["band"]["low_c"] == pytest.approx(c_from_f(38.0), abs=1e-3)
    assert chapter["bench"]["band"]["low_c"] == pytest.approx(c_from_f(inside.BAND_F[0]), abs=1e-3)
    assert chapter["is_left_alone"], "killing one house's guard is nothing to the other"
    assert chapter["stopped"]["code"] == 3
    assert chapter["states"] == {"service": "active", "socket": "active"}


@of("tells")
def test_the_notifier_tells_as_a_user_who_may_change_nothing(chapter: dict[str, Any]) -> None:
    assert chapter["started"]["code"] == 0, chapter
    assert "overwinter_up" in chapter["metrics"]
    assert "overwinter_temperature_celsius" in chapter["metrics"]
    assert chapter["uid"] == chapter["beat uid"] != 0
    assert str(chapter["guard's group"]) not in chapter["groups"]
    assert chapter["turned meanwhile"], "a notifier that stands still holds up nobody"
    assert "fails" not in chapter["journal"], chapter["journal"]
    assert chapter["stopped"]["code"] == 0


@of("journal")
def test_the_journal_has_no_complaint_that_was_not_provoked(chapter: dict[str, Any]) -> None:
    assert chapter["of guards"] > 50
    assert [text for text in chapter["warnings"] if not any(words in text for words in PROVOKED)] == []


@of("journal")
@pytest.mark.parametrize(
    "words", ["Operation not permitted", "Permission denied", "Read-only file", "Traceback"]
)
def test_nothing_in_the_journal_tells_of_a_door_that_was_shut(chapter: dict[str, Any], words: str) -> None:
    assert [text for text in chapter["all"] if words.lower() in text.lower()] == []


def test_the_machine_leaves_nothing_mounted(found: dict[str, Any]) -> None:
    assert "overwinter-rig" not in Path("/proc/mounts").read_text()
