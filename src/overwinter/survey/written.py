"""site.toml and settings.toml: are they there, are they right, and does the running guard know them?"""

import re
from collections.abc import Iterator, Mapping

from overwinter.core.nouns import Mode, Problem, Settings
from overwinter.settings.schema import BY_KEY, LOW_SAFE_C, measured
from overwinter.settings.site import differences_needing_restart
from overwinter.settings.values import SAME_K, settings_facts
from overwinter.survey.finding import Finding, fault, hint, not_seen, sound
from overwinter.survey.scene import Scene

_HEAD = re.compile(r"\s*(\[\[?)\s*([A-Za-z0-9_.\-]+)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"\s*([A-Za-z0-9_.\-]+)\s*=")


def findings(scene: Scene) -> Iterator[Finding]:
    """What is to be said of both files."""
    yield from _site(scene)
    yield from _settings(scene)
    if scene.guard.runs:
        yield from _site_taken(scene)
        yield from _settings_taken(scene)


def _site(scene: Scene) -> Iterator[Finding]:
    path = scene.at.site
    if scene.site_unseen:
        yield not_seen(
            "site-unreadable", path, scene.site_unseen, why="It says what is wired; nothing else can."
        )
    elif scene.site_text is None:
        yield fault(
            "site-missing",
            path,
            "is not there",
            why="Nothing says which pins, sensors and heater this house has, so no guard can start.",
            fix="Write it after the commented example etc/site.toml.",
            command=f"sudo nano {path}",
        )
    elif scene.site_problems:
        for problem in scene.site_problems:
            yield _refused("site-problem", path, scene.site_text, problem, scene)
    else:
        yield sound("site", path, "can be read, and every value in it is allowed")


def _settings(scene: Scene) -> Iterator[Finding]:
    path, parsed = scene.at.settings, scene.parsed
    if scene.settings_unseen:
        yield not_seen(
            "settings-unreadable", path, scene.settings_unseen, why="It says how warm the house is kept."
        )
        return
    if scene.settings_text is None or parsed is None:
        yield hint(
            "settings-missing",
            path,
            "is not there",
            why="The first start writes it with defaults: mode freeze, heat between 36 and 40 F.",
            fix="Start the guard once.",
            command=scene.systemctl("start"),
        )
        return
    for problem in parsed.problems:
        yield _refused("settings-problem", path, scene.settings_text, problem, scene)
    if not parsed.problems:
        yield sound("settings", path, "can be read, and every value in it is allowed")
    yield _low_end(parsed.settings, scene)


def _low_end(settings: Settings, scene: Scene) -> Finding:
    row, unit = BY_KEY["band.low"], settings.unit
    low, floor = measured(row, settings.low_c, unit), measured(row, LOW_SAFE_C, unit)
    if settings.low_c >= LOW_SAFE_C - 1e-6:
        return sound("low-end", "band.low", f"{low}, not below {floor}")
    is_freeze = settings.mode is Mode.FREEZE
    return (fault if is_freeze else hint)(
        "low-end",
        f"band.low in mode {settings.mode}",
        f"{low}, below {floor}",
        why="A cheap sensor is off by half a kelvin and the coldest pipe by more: pipes may freeze first.",
        command=scene.at.command("band 36F 40F"),
    )


def _refused(code: str, path: str, text: bytes, problem: Problem, scene: Scene) -> Finding:
    said = problem.text.removeprefix(f"{path.rsplit('/', 1)[-1]}: ")
    line = line_of(text, problem.key)  # a slip of syntax has no key, and tells its line itself
    is_site = code == "site-problem"
    return fault(
        code,
        path if line is None else f"{path}, line {line}",
        said if problem.allowed in said or not problem.key else f"{said}; allowed: {problem.allowed}",
        why="With one wrong value the file is not taken: the next start runs on the last good copy, or not."
        if is_site
        else "What cannot be taken falls back to the last good value, or to a default.",
        fix=f"Mend it in {path}, then:",
        command=scene.systemctl("restart" if is_site else "reload"),
    )


def _site_taken(scene: Scene) -> Iterator[Finding]:
    path, site, ran = scene.at.site, scene.site, scene.ran
    if site is None:
        return  # it has been said that it is not right
    if ran is None:
        why = "Without the copy of what runs nobody knows whether an edit was taken."
        yield not_seen("site-taken", path, scene.ran_unseen, why=why)
        return
    if ran == site:
        yield sound("site-taken", path, "is the one that runs")
        return
    wiring = differences_needing_restart(ran, site)
    yield fault(
        "site-not-taken",
        path,
        f"edited but not yet taken{': ' + ', '.join(wiring) if wiring else ''}",
        why="The guard goes on with what was wired before.",
        fix="Have it taken:",
        command=scene.systemctl("restart" if wiring else "reload"),
    )


def _settings_taken(scene: Scene) -> Iterator[Finding]:
    if scene.settings is None or scene.guard.settings is None:
        return
    unlike = sorted(_unlike(scene.guard.settings, settings_facts(scene.settings)))
    if not unlike:
        yield sound("settings-taken", scene.at.settings, "is what runs")
        return
    yield fault(
        "settings-not-taken",
        scene.at.settings,
        f"edited but not yet taken: {', '.join(unlike)}",
        why="The guard still keeps the house as it was told before.",
        fix="Have it taken:",
        command=scene.systemctl("reload"),
    )


def _unlike(runs: Mapping[str, object], written: Mapping[str, object], above: str = "") -> Iterator[str]:
    """The dotted keys that differ by more than rounding."""
    for key, value in written.items():
        other = runs.get(key)
        if isinstance(value, Mapping):
            yield from _unlike(other if isinstance(other, Mapping) else {}, value, f"{above}{key}.")
        elif isinstance(value, float) and isinstance(other, int | float):
            if abs(value - other) > SAME_K:
                yield f"{above}{key}".removesuffix("_c")
        elif value != other:
            yield f"{above}{key}".removesuffix("_c")


def line_of(text: bytes, key: str) -> int | None:
    """Where a dotted key such as `sensor[2].pin` stands, else where its table begins.

    Parameters
    ----------
    text : bytes
        The file.
    key : str
        As in a problem; entries of a list of tables are counted from 1.

    Returns
    -------
    int or None
        The line, from 1; None when neither key nor table stands there, or the text is no TOML.
    """
    if not key:
        return None
    above = key.rpartition(".")[0]
    counted: dict[str, int] = {}
    table, found = "", None
    for number, line in enumerate(text.decode("utf-8", "replace").splitlines(), start=1):
        head = _HEAD.match(line)
        if head is not None:
            table = head[2]
            if head[1] == "[[":
                counted[table] = counted.get(table, 0) + 1
                table = f"{table}[{counted[table]}]"
            if table == above:
                found = number
            continue
        given = _KEY.match(line)
        if given is not None and key == (f"{table}.{given[1]}" if table else given[1]):
            return number
    return found
