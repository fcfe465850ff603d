"""The lamp and the buzzer of the board, fed by every turn: a guard that hangs goes dark."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from overwinter.core.nouns import Health
from overwinter.core.signals import buzzer, lamp
from overwinter.core.telling import Notices
from overwinter.devices.signal import Signal, open_signals


class Board:
    """What somebody in the pump house sees and hears."""

    def __init__(self, lamp_signal: Signal | None = None, buzzer_signal: Signal | None = None) -> None:
        self._lamp, self._buzzer = lamp_signal, buzzer_signal

    def show(self, status: Mapping[str, Any]) -> None:
        """As `status` has it now."""
        if self._lamp is None and self._buzzer is None:
            return
        health = Health(status["health"])
        if self._lamp is not None:
            self._lamp.show(lamp(health))
        if self._buzzer is not None:
            has_fresh = any(not alarm["acknowledged"] for alarm in status["alarms"])
            self._buzzer.show(buzzer(health, has_fresh_alarm=has_fresh))

    def close(self) -> None:
        """Dark and silent."""
        for signal in (self._lamp, self._buzzer):
            if signal is not None:
                signal.close()


def open_board(spec: Notices, *, runtime_dir: Path | None, tell: Callable[[str], None]) -> Board:
    """The board of site.toml; what cannot be had is told and done without."""
    wanted = (("lamp", spec.led), ("buzzer", spec.buzzer))
    return Board(*open_signals(wanted, runtime_dir=runtime_dir, tell=tell))
