"""Changing settings through the guard and saying what was changed: what band, mode and set share."""

from collections.abc import Mapping

from overwinter.cli.ask import ask, facts, print_caution
from overwinter.cli.options import Stop
from overwinter.cli.places import Places
from overwinter.show.text import changed, clean

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from typing import Any


def change(
    where: Places, changes: Mapping[str, object], *, anyway: bool, until: str | None = None
) -> "dict[str, Any]":
    """Have the guard store `changes`, all or none; its answer."""
    params: dict[str, object] = {"changes": dict(changes), "anyway": anyway}
    if until is not None:
        params["until"] = until
    answer = ask(where, "set", params)
    if not isinstance(answer, dict) or answer.get("saved") is not True:
        raise Stop(1, "the guard did not say that it saved this; see `overwinter settings`")
    if changes.get("mode") == "observe":
        print_caution()
    return answer


def settings_now(where: Places) -> "dict[str, Any]":
    """The settings after a change that is already saved: not being able to show them is no failure."""
    try:
        return facts(where, "settings")
    except Stop:
        return {}


def print_changes(answer: "Mapping[str, Any]", *, unit: str) -> None:
    """Each change as stored, old and new; `unit` is the settings' unit after it."""
    changes = answer.get("changes") or {}
    old_unit = str(changes["unit"][0]) if "unit" in changes else unit
    for key, (old, new) in changes.items():
        print(changed(key, old, new, old_unit=old_unit, new_unit=unit))
    if not changes:
        print("nothing is different: it was set so already")


def unit_of(settings: "Mapping[str, Any]") -> str:
    """The settings' unit; nothing where it is not known."""
    return clean(settings.get("unit", ""))
