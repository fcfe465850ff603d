"""Coverage guides a search through what reads a line: `python -m tests.rigs.fuzz.guided [options]`.

Options are libFuzzer's (-max_total_time=60); atheris is needed. Any exception, any answer against the rules
of JSON-RPC 2.0, and any line that takes longer than `-timeout` seconds ends it with the line in a file.
"""

import asyncio
import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["overwinter.wire", "overwinter.settings", "json"]):
    from overwinter.core.nouns import Caller
    from overwinter.wire import peer
    from overwinter.wire.desk import Desk

from tests.rigs.bench import SEED
from tests.wire.conftest import FakePort
from tests.wire.hostile import DRAWN, GROWING, Restless, check_answer, drawn, lines

OWNER = peer.Peer(Caller(uid=0, user="root", pid=1), frozenset({0}))


class Office:
    """A desk that is asked line after line."""

    def __init__(self) -> None:
        self._runner = asyncio.Runner()
        self._port = FakePort()
        self._desk = self._runner.run(self._open())

    async def _open(self) -> Desk:
        return Desk(self._port, Restless())

    def ask(self, data: bytes) -> None:
        self._runner.run(self._ask(data.replace(b"\n", b" ")))
        self._port.calls.clear()

    async def _ask(self, line: bytes) -> None:
        async with self._desk.answer(line, OWNER, lambda: None) as reply:
            if reply is not None:
                check_answer(reply)
        assert not self._desk._unread


def main() -> None:
    office = Office()
    for make in GROWING.values():
        office.ask(make(2_000))
    with tempfile.TemporaryDirectory(prefix="ow-") as corpus:
        for number, line in enumerate(
            drawn(lines, DRAWN, SEED)
        ):  # from nothing it would hardly find a method
            Path(corpus, str(number)).write_bytes(line)
        options = ["-timeout=1", "-max_len=65536", *sys.argv[1:], corpus]
        atheris.Setup([sys.argv[0], *options], office.ask)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
