"""One trial: silence, then a storm, then peace, on a guard beside which a quiet one turns."""

import asyncio
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.rigs.bench import SEED
from tests.rigs.fuzz.measured import SAMPLES, Measured, Turn, own_lateness_s, readings, share
from tests.rigs.fuzz.storm import CHANGES, CONNECTIONS, WORKERS, Storm, silent
from tests.wire.hostile import GROWING

SILENT = 64
"""Clients that try to hold a connection without a word: all that root may hold."""
SILENCE_S = 3.0
STAY_SILENT = max(0, CONNECTIONS - WORKERS - 12)
"""Of those, who stay through the storm; the workers, their second and third connections and the witness need
the rest."""
FORGET_S = 1.0
"""For the guard to see that clients have gone."""
CROWD = CONNECTIONS - 2
"""Who ask for the same at once: as many as are let in beside the witness."""
CROWD_S = 4.0
CROWDS = {
    "the whole logbook": b'{"jsonrpc":"2.0","method":"samples","params":{"limit":10000},"id":1}',
    "nothing, in the most objects a line can hold": GROWING["nested pairs"](65_000),
}
STRANGER = 65_534
"""A user who is not root and in no group of note."""

STRANGER_CODE = """
import json, os, socket, sys
os.setgroups([]); os.setgid(int(sys.argv[2])); os.setuid(int(sys.argv[2]))
said, clients = [], []
for _ in range(20):
    client = socket.socket(socket.AF_UNIX)
    client.settimeout(10)
    client.connect(sys.argv[1])
    clients.append(client)
    try:
        client.sendall(b'{"jsonrpc":"2.0","method":"drop_samples","id":1}\\n')
    except OSError:
        pass
    said.append(json.loads(client.makefile().readline())["error"]["code"])
print(json.dumps(said))
"""


@dataclass(slots=True)
class Result:
    """What a trial found."""

    storm: Storm
    turns: list[Turn] = field(default_factory=list)
    quiet: list[Turn] = field(default_factory=list)
    memory_mib: dict[str, float] = field(default_factory=dict)
    refusal: str = ""
    stranger: list[int] | None = None
    settings_before: bytes = b""
    settings_after_changes: bytes = b""
    settings_at_end: bytes = b""
    own_change: Any = None
    uptimes_s: list[float] = field(default_factory=list)
    took_s: float = 0.0
    code: int = -1
    quiet_code: int = -1
    said: str = ""
    log: list[bytes] = field(default_factory=list)

    @property
    def own_s(self) -> list[float]:
        return own_lateness_s(self.turns, self.quiet)

    @property
    def own_reading_s(self) -> list[float]:
        return own_lateness_s(readings(self.turns), readings(self.quiet))

    def summary(self) -> str:
        """For people."""
        storm = self.storm

        def ms(values: list[float]) -> str:
            parts = {"median": 0.5, "p99": 0.99, "most": 1.0}
            return ", ".join(f"{name} {share(values, part) * 1000:.1f}" for name, part in parts.items())

        return "\n".join(
            [
                f"seed {SEED}: {storm.messages} messages in {storm.lines} lines by {storm.sessions} clients, "
                f"{storm.answers} answers checked, {self.took_s:.0f} s",
                f"by way: {dict(storm.sent.most_common())}; turned away {storm.turned_away}",
                f"answers: {dict(storm.codes.most_common())}",
                f"turns {len(self.turns)}, late [ms]: {ms([turn.late_s for turn in self.turns])}",
                f"the quiet guard's {len(self.quiet)}: {ms([turn.late_s for turn in self.quiet])}",
                f"its own lateness: {ms(self.own_s)}; of its readings: {ms(self.own_reading_s)}",
                f"status asked {len(storm.status_s)} times, answered after [ms]: {ms(storm.status_s)}",
                f"memory [MiB]: { {name: round(value, 1) for name, value in self.memory_mib.items()} }",
                f"logbook: {len(self.log)} lines, the longest {max(map(len, self.log))} bytes",
            ]
        )


def trial(messages: int, *, lines: int = 0, progress: Callable[[str], None] = lambda _: None) -> Result:
    """Storm a guard."""
    stormed, quiet = Measured(samples=SAMPLES), Measured()
    try:
        for guard in (stormed, quiet):
            guard.wait_until_up()
        result = Result(Storm(stormed.socket, storm_seed=SEED, messages=messages, lines=lines))
        first = len(stormed.turns())
        result.memory_mib["before"] = stormed.memory_mib()
        began_s = time.monotonic()
        asyncio.run(_stages(stormed, result, progress))
        result.took_s = time.monotonic() - began_s
        result.memory_mib["most"] = stormed.memory_mib("VmHWM")
        result.turns, result.quiet = stormed.turns()[first:], quiet.turns()
        result.settings_at_end = stormed.settings.read_bytes()
        result.code, result.quiet_code = stormed.stop(), quiet.stop()
        result.said = stormed.said.read_text(errors="replace")
        files = sorted(stormed.logs.glob("logbook.jsonl*"), reverse=True)
        result.log = b"".join(path.read_bytes() for path in files).splitlines(keepends=True)[SAMPLES:]
        return result
    finally:
        stormed.close()
        quiet.close()


async def _stages(guard: Measured, result: Result, progress: Callable[[str], None]) -> None:
    storm = result.storm
    witness = await storm.connect()
    result.uptimes_s.append((await storm.ask(witness, "status", 1))["uptime_s"])
    witnessing = asyncio.create_task(storm.witness(witness))

    progress(f"{SILENT} silent clients")
    crowd = [silent(guard.socket) for _ in range(SILENT)]
    result.refusal = crowd[-1].recv(65_536).decode()
    await asyncio.sleep(SILENCE_S)
    for client in crowd:
        client.close()
    await asyncio.sleep(FORGET_S)

    for what, line in CROWDS.items():
        progress(f"a crowd that asks for {what}")
        await storm.crowd(line, CROWD, CROWD_S)
        await asyncio.sleep(FORGET_S)

    crowd = [silent(guard.socket) for _ in range(STAY_SILENT)]
    progress(f"{CHANGES} changes to refuse")
    result.settings_before = guard.settings.read_bytes()
    await storm.patiently(storm.refused_changes)
    result.settings_after_changes = guard.settings.read_bytes()

    storm.at_half = lambda: result.memory_mib.setdefault("most till half", guard.memory_mib("VmHWM"))
    await storm.run(progress=progress)
    await witnessing
    for client in crowd:
        client.close()
    if os.geteuid() == 0:
        result.stranger = await asyncio.to_thread(_stranger, guard)

    # Peace: what is asked properly is done properly.
    result.own_change = await storm.ask(witness, "set", 2, {"changes": {"failsafe.duty": 0.5}})
    result.uptimes_s.append((await storm.ask(witness, "status", 3))["uptime_s"])
    witness.close()


def _stranger(guard: Measured) -> list[int]:
    done = subprocess.run(
        [sys.executable, "-c", STRANGER_CODE, guard.socket, str(STRANGER)],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    codes: list[int] = json.loads(done.stdout)
    return codes
