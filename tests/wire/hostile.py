"""Lines that nobody honest sends, and the rules that any answer to them has to keep.

Strategies draw them for the tests that run in one process; `Supply` makes a hundred thousand of them quickly
for a real guard, out of lines that the strategies drew and a seeded generator that spoils them further.
"""

import contextlib
import json
import math
import random
from collections.abc import AsyncIterator, Callable
from typing import Any

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from overwinter.settings.schema import BY_KEY
from overwinter.wire import methods, rpc
from overwinter.wire.desk import Turnstile

CODES = {
    rpc.PARSE_ERROR,
    rpc.INVALID_REQUEST,
    rpc.METHOD_NOT_FOUND,
    rpc.INVALID_PARAMS,
    rpc.INTERNAL_ERROR,
    rpc.NOT_PERMITTED,
    rpc.NOT_STORED,
    rpc.REFUSED,
}

NAMES = (*methods.READS, *methods.CHANGES)


def check_answer(line: bytes) -> list[dict[str, Any]]:
    """The responses in a line that keeps sections 5, 5.1 and 6 of JSON-RPC 2.0; raises if it does not."""
    assert b"\n" not in line.removesuffix(b"\n")
    value = json.loads(line.decode("utf-8"), parse_constant=_no_constant)
    responses = value if isinstance(value, list) else [value]
    assert responses, "section 6: an empty array is never an answer"
    for response in responses:
        assert isinstance(response, dict)
        assert response["jsonrpc"] == "2.0"
        assert ("result" in response) != ("error" in response), "section 5: either, and not both"
        assert response.keys() == {"jsonrpc", "id", "error" if "error" in response else "result"}
        assert response["id"] is None or type(response["id"]) in {str, int, float}
        if "error" in response:
            error = response["error"]
            assert error.keys() == {"code", "message", "data"}
            assert type(error["code"]) is int
            assert error["code"] in CODES
            assert isinstance(error["message"], str)
            if error["code"] == rpc.PARSE_ERROR:
                assert response["id"] is None, "section 5: the id could not be known"
    return responses


def _no_constant(word: str) -> object:
    raise AssertionError(f"{word} is not JSON")


class Restless(Turnstile):
    """One turn at a time, and no rest after it."""

    @contextlib.asynccontextmanager
    async def turn(self) -> AsyncIterator[None]:
        async with self._lock:
            yield


# Drawn by hypothesis.

odd_text = st.text(max_size=20) | st.sampled_from(
    [
        "",
        "\x00",
        "\x1b[2J",
        "\u2028",
        "\u202e",
        "é" * 300,
        "x" * 1_001,
        "36X",
        "nan",
        "-inf",
        "1e999F",
        "'; --",
    ]
)
odd_numbers = (
    st.integers()
    | st.floats()
    | st.sampled_from([math.nan, math.inf, -math.inf, 1e308, -0.0, 2**63, -(2**64), 10**299, 10**400, 5e-324])
)
odd_values = st.recursive(
    st.none() | st.booleans() | odd_numbers | odd_text,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(odd_text, inner, max_size=4),
    max_leaves=12,
)
keys = st.sampled_from([*BY_KEY, "band", "band.low.x", "__class__", "band.low\x00"]) | odd_text
params = st.one_of(
    odd_values,
    st.fixed_dictionaries(
        {},
        optional={
            "changes": st.dictionaries(keys, odd_values, max_size=4) | odd_values,
            "anyway": odd_values,
            "until": odd_values,
            "heat": st.booleans() | odd_values,
            "for_s": odd_numbers | odd_values,
            "text": odd_text,
            "since": odd_text,
            "limit": odd_numbers,
        },
    ),
)
requests = st.fixed_dictionaries(
    {},
    optional={
        "jsonrpc": st.just("2.0") | odd_values,
        "method": st.sampled_from(NAMES) | odd_values,
        "params": params,
        "id": odd_values,
        "extra": odd_values,
    },
)
near_requests = st.fixed_dictionaries(
    {"jsonrpc": st.just("2.0"), "method": st.sampled_from(NAMES)},
    optional={"params": params, "id": st.integers() | odd_text | odd_numbers},
)
messages = near_requests | requests | odd_values
json_lines = (messages | st.lists(messages, max_size=8)).map(lambda value: json.dumps(value).encode())
"""Python's own spelling: NaN and infinities stand in it as words, which is not JSON."""
broken_json = st.text(alphabet='{}[]",:0123456789eE+-\\ud8nfINat ', max_size=200).map(str.encode)
lines = st.one_of(json_lines, json_lines, broken_json, st.binary(max_size=200)).map(
    lambda line: line.replace(b"\n", b" ")
)


# Made by hand: what grows.


def deep(depth: int, opening: bytes = b"[", closing: bytes = b"]") -> bytes:
    """Nested, and closed again."""
    return opening * depth + b"1" + closing * depth


def request_of(size: int, unit: bytes = b"[],") -> bytes:
    """A request of about that many bytes whose params are one thing again and again."""
    head, tail = b'{"jsonrpc":"2.0","id":1,"method":"note","params":[', b"1]}"
    return head + unit * ((size - len(head) - len(tail)) // len(unit)) + tail


def unknown_params(size: int) -> bytes:
    """A request of about that many bytes with as many unknown names as fit."""
    count = size // 10
    return b'{"jsonrpc":"2.0","id":1,"method":"status","params":{%s}}' % b",".join(
        b'"%x":0' % number for number in range(0x1000, 0x1000 + count)
    )


GROWING: dict[str, Callable[[int], bytes]] = {
    "open lists": lambda size: b"[" * size,
    "open objects": lambda size: b'{"a":' * (size // 5),
    "closed lists": lambda size: deep(size // 2),
    "shallow lists": request_of,
    "small objects": lambda size: request_of(size, b'{"a":[]},'),
    "nested pairs": lambda size: request_of(size, b"[[]],"),
    "digits": lambda size: b"1" * size,
    "negative digits": lambda size: b"-" + b"9" * size,
    "digits after the point": lambda size: b"1." + b"1" * size,
    "zeros after the point": lambda size: b"[1." + b"0" * size + b"1]",
    "digits of an exponent": lambda size: b"1e" + b"1" * size,
    "an escaped text": lambda size: b'"' + b"\\u0041" * (size // 6) + b'"',
    "surrogate pairs": lambda size: b'"' + b"\\ud83d\\ude00" * (size // 12) + b'"',
    "lone surrogates": lambda size: b'"' + b"\\ud800" * (size // 6) + b'"',
    "backslashes": lambda size: b'"' + b"\\" * (size - 1),
    "a text without end": lambda size: b'"' + b"a" * size,
    "wide letters": lambda size: b'"' + "𝄞".encode() * (size // 4) + b'"',
    "broken UTF-8 at the end": lambda size: b'"' + b"a" * size + b"\xff",
    "spaces": lambda size: b" " * size,
    "zero bytes": lambda size: b"\0" * size,
    "unknown names": unknown_params,
    "one name twice, late": lambda size: unknown_params(size).replace(b"}}", b',"1000":1}}'),
    "a batch of nothing": lambda size: b"[" + b"{}," * (size // 3) + b"{}]",
    "a long id": lambda size: b'{"jsonrpc":"2.0","method":"x","id":"' + b"i" * size + b'"}',
    "a long method": lambda size: b'{"jsonrpc":"2.0","id":1,"method":"' + b"m" * size + b'"}',
}
"""What a clumsy reader of JSON takes quadratic time for, by the bytes it may have."""


# A hundred thousand.

DRAWN = 600
"""Lines that the strategies draw for one supply, in two seconds; the rest is spoilt out of them."""


def drawn(of: st.SearchStrategy[bytes], count: int, draw_seed: int) -> list[bytes]:
    """So many lines, always the same ones for a seed."""
    found: list[bytes] = []

    @seed(draw_seed)
    @settings(
        max_examples=count,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(line=of)
    def collect(line: bytes) -> None:
        found.append(line)

    collect()
    return found


class Supply:
    """Hostile lines without end, the same ones for a seed."""

    def __init__(self, supply_seed: int) -> None:
        self.chance = random.Random(supply_seed)
        self._drawn = [
            line
            for line in drawn(lines, DRAWN, supply_seed)
            # Done, these would take the samples out of the logbook, or the readings out of the measurement.
            if b"drop_samples" not in line and b"sampling" not in line
        ]
        self._long = [make(size) for make in GROWING.values() for size in (500, 5_000)]

    def line(self) -> bytes:
        """One line, most of them short."""
        chance = self.chance
        kind = chance.random()
        if kind < 0.01:
            return chance.choice(self._long)
        line = chance.choice(self._drawn)
        if kind < 0.5:
            line = self._spoilt(line)
        return line.replace(b"\n", b" ")

    def batch(self) -> tuple[bytes, int]:
        """A batch, and how many messages stand in it: as many as are answered one by one, mostly."""
        chance = self.chance
        count = chance.choice([1, 7, 30, rpc.MAX_BATCH, rpc.MAX_BATCH, rpc.MAX_BATCH])
        parts = [
            chance.choice(
                [
                    b"1",
                    b"null",
                    b"[]",
                    b"{}",
                    b'{"jsonrpc":"2.0"}',
                    b'{"jsonrpc":"2.0","method":7,"id":1}',
                    b'{"jsonrpc":"2.0","method":"status","params":"bar","id":2}',
                    b'{"jsonrpc":"1.0","method":"quiet","id":[]}',
                    b'{"jsonrpc":"2.0","method":"status","id":1e999}',
                    b'{"foo":"boo"}',
                    b'[[[[{"jsonrpc":"2.0"}]]]]',
                    b'{"jsonrpc":"2.0","method":"\\u0000","id":"\\ud83d\\ude00","params":0}',
                ]
            )
            for _ in range(count)
        ]
        if chance.random() < 0.3:
            parts[0] = b'{"jsonrpc":"2.0","method":"status","id":3}'
        if chance.random() < 0.3:
            parts[-1] = b'{"jsonrpc":"2.0","method":"no such"}'
        return b"[" + b",".join(parts) + b"]", count

    def change(self) -> bytes:
        """A change that must be refused, by who may change; a remark is the exception that it is written."""
        chance = self.chance
        key = chance.choice([*BY_KEY, "band", "", "band.low\\u0000", "__class__", "x" * 90])
        value = chance.choice(
            [
                '"36X"',
                "-1e9",
                "1e300",
                '"\\u0000"',
                "[]",
                "{}",
                "true",
                "null",
                '"1e999F"',
                "9" * 299,
                "9" * 400,
            ]
        )
        number = chance.choice(
            ["NaN", "Infinity", "-Infinity", "1e999", "-5", "0", "43201", '"60"', "true", "[]"]
        )
        text = chance.choice(
            ["\\u0000", "\\u001b[2J", "\\u2028", "\\ud800", "x" * 1_001, " ", "a\\u0085b", "\\n"]
        )
        method, given_params = chance.choice(
            [
                ("set", f'{{"changes":{{"{key}":{value}}},"anyway":true}}'),
                ("set", f'{{"changes":{{"band.low":36.0,"{key}x":{value}}}}}'),
                ("set", f'{{"changes":{{"mode":"observe"}},"until":"{text}"}}'),
                ("hand", f'{{"heat":true,"for_s":{number}}}'),
                ("hand", f'{{"heat":{value},"for_s":60}}'),
                ("note", f'{{"text":"{text}"}}'),
                ("note", f'{{"text":"a lamp {chance.random()}"}}'),
                ("release", f'{{"{key}":1}}'),
                ("quiet", f"[{value}]"),
            ]
        )
        request_id = chance.randrange(9)
        return f'{{"jsonrpc":"2.0","id":{request_id},"method":"{method}","params":{given_params}}}'.encode()

    def _spoilt(self, line: bytes) -> bytes:
        chance = self.chance
        spoilt = bytearray(line or b"{}")
        for _ in range(chance.choice([1, 1, 2, 8])):
            at = chance.randrange(len(spoilt) + 1)
            match chance.randrange(8):
                case 0:
                    spoilt[at : at + 1] = bytes([chance.randrange(256)])
                case 1:
                    del spoilt[at:]
                case 2:
                    spoilt[at:at] = spoilt[max(0, at - 20) : at]
                case 3:
                    spoilt[at:at] = b"\xef\xbb\xbf"
                case 4:
                    spoilt[at:at] = b"\0"
                case 5:
                    spoilt[at:at] = b"\\ud800"
                case 6:
                    spoilt[at:at] = chance.choice(
                        [b"NaN", b"1e400", b"-0", b"9" * 500, b'"', b"{", b"]", b"\r"]
                    )
                case _:
                    spoilt[at:] = chance.choice(self._drawn)[at:]
        return bytes(spoilt)
