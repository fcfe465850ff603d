"""Bytes to requests and back, without a socket."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Problem
from overwinter.wire import rpc
from tests.wire.hostile import CODES


def only(line: bytes) -> rpc.Request | rpc.Unusable:
    message = rpc.parse(line)
    assert not message.is_batch
    (part,) = message.parts
    return part


def refusal(line: bytes) -> rpc.Unusable:
    part = only(line)
    assert isinstance(part, rpc.Unusable)
    return part


def test_the_codes_are_those_of_the_specification() -> None:
    # JSON-RPC 2.0 Specification, section 5.1; ours lie in its range for servers, -32000 to -32099.
    assert (rpc.PARSE_ERROR, rpc.INVALID_REQUEST, rpc.METHOD_NOT_FOUND) == (-32700, -32600, -32601)
    assert (rpc.INVALID_PARAMS, rpc.INTERNAL_ERROR) == (-32602, -32603)
    assert (rpc.NOT_PERMITTED, rpc.NOT_STORED, rpc.REFUSED) == (-32001, -32002, -32003)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        pytest.param(b"", "Expecting value", id="nothing"),
        pytest.param(b"{", "Expecting property name", id="half an object"),
        pytest.param(b'{"jsonrpc":"2.0","method":"note\xff","id":1}', "utf-8", id="not UTF-8"),
        pytest.param(b"\xef\xbb\xbf{}", "BOM", id="byte order mark"),
        pytest.param(b"[" * 65_536, "nested too deeply", id="deep lists"),
        pytest.param(b'{"a":' * 13_000, "nested too deeply", id="deep objects"),
        pytest.param(b'{"jsonrpc":"2.0","method":"x","params":[NaN],"id":1}', "NaN is not JSON", id="NaN"),
        pytest.param(b'{"id":-Infinity}', "-Infinity is not JSON", id="minus infinity"),
        pytest.param(
            b'{"params":{"changes":{"band.low":36,"band.low":96}}}',
            "'band.low' stands twice in one object",
            id="a name twice",
        ),
        pytest.param(b'{"method":"\\ud800"}', "surrogate", id="lone surrogate"),
        pytest.param(b'{"method":"\\uDFFF\\uD800"}', "surrogate", id="surrogates the wrong way round"),
        pytest.param(b'{"\\ud83d":1}', "surrogate", id="lone surrogate in a name"),
        pytest.param(b"{}" + b" " * 65_536, "too long", id="long"),
    ],
)
def test_a_line_that_is_not_strict_json_is_a_parse_error_that_says_why(line: bytes, why: str) -> None:
    part = refusal(line)

    assert part.id is None
    assert (part.fault.code, part.fault.message) == (rpc.PARSE_ERROR, "Parse error")
    assert why in part.fault.problems[0].text


def test_a_whole_surrogate_pair_is_a_character() -> None:
    part = only(b'{"jsonrpc":"2.0","method":"note","params":["\\ud83d\\ude00"],"id":1}')

    assert isinstance(part, rpc.Request)
    assert part.params == ["\N{GRINNING FACE}"]


@pytest.mark.parametrize(
    ("line", "key", "request_id"),
    [
        pytest.param(b"1", "request", None, id="a number"),
        pytest.param(b'"status"', "request", None, id="a string"),
        pytest.param(b"null", "request", None, id="null"),
        pytest.param(b"{}", "jsonrpc", None, id="an empty object"),
        pytest.param(b'{"method":"status","id":5}', "jsonrpc", 5, id="no version"),
        pytest.param(b'{"jsonrpc":2.0,"method":"status","id":5}', "jsonrpc", 5, id="version as a number"),
        pytest.param(b'{"jsonrpc":"2.0","id":"a"}', "method", "a", id="no method"),
        pytest.param(b'{"jsonrpc":"2.0","method":true,"id":5}', "method", 5, id="method is a flag"),
        pytest.param(b'{"jsonrpc":"2.0","method":"x","params":3,"id":5}', "params", 5, id="params a number"),
        pytest.param(b'{"jsonrpc":"2.0","method":"x","params":null,"id":5}', "params", 5, id="params null"),
        pytest.param(b'{"jsonrpc":"2.0","method":"x","id":true}', "id", None, id="id is a flag"),
        pytest.param(b'{"jsonrpc":"2.0","method":"x","id":[1]}', "id", None, id="id is a list"),
        pytest.param(b'{"jsonrpc":"2.0","method":"x","id":1e999}', "id", None, id="id beyond any float"),
        pytest.param(
            b'{"jsonrpc":"2.0","method":"x","id":-' + b"9" * 5_000 + b"}", "id", None, id="id of 5000 digits"
        ),
        pytest.param(b"[]", "batch", None, id="an empty batch"),
        pytest.param(b"[" + b"1," * 50 + b"1]", "batch", None, id="a batch of one too many"),
    ],
)
def test_json_that_is_no_request_is_an_invalid_request(line: bytes, key: str, request_id: object) -> None:
    part = refusal(line)

    assert part.id == request_id
    assert (part.fault.code, part.fault.message) == (rpc.INVALID_REQUEST, "Invalid Request")
    assert part.fault.problems[0].key == key


def test_the_longest_batch_is_answered_one_by_one() -> None:
    message = rpc.parse(b"[" + b"1," * 49 + b"1]")

    assert message.is_batch
    assert len(message.parts) == rpc.MAX_BATCH
    assert all(isinstance(part, rpc.Unusable) for part in message.parts)


def test_the_longest_line_is_read() -> None:
    line = b'{"jsonrpc":"2.0","method":"status","id":1}'

    assert isinstance(only(line + b" " * (rpc.MAX_LINE_BYTES - len(line))), rpc.Request)


def test_a_null_id_is_a_request_and_no_id_a_notification() -> None:
    with_null = only(b'{"jsonrpc":"2.0","method":"status","id":null}')
    without = only(b'{"jsonrpc":"2.0","method":"status"}')

    assert isinstance(with_null, rpc.Request)
    assert isinstance(without, rpc.Request)
    assert (with_null.is_notification, without.is_notification) == (False, True)


def test_a_number_beyond_any_float_is_infinite_for_the_method_to_refuse() -> None:
    part = only(b'{"jsonrpc":"2.0","method":"x","params":[1e999,-' + b"9" * 5_000 + b'],"id":1}')

    assert isinstance(part, rpc.Request)
    assert part.params == [math.inf, -math.inf]


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)
request_like = st.fixed_dictionaries(
    {},
    optional={
        "jsonrpc": st.just("2.0") | json_values,
        "method": st.sampled_from(["status", "hand"]) | json_values,
        "params": json_values,
        "id": json_values,
    },
)
lines = (
    st.binary(max_size=300)
    | json_values.map(lambda value: json.dumps(value).encode())
    | request_like.map(lambda value: json.dumps(value).encode())
    | st.lists(request_like, max_size=5).map(lambda value: json.dumps(value).encode())
    | st.text(alphabet='{}[]",:0123456789eE+-\\ud8nfINat ', max_size=200).map(str.encode)
)


@given(line=lines)
def test_whatever_comes_is_requests_or_errors_that_can_be_sent(line: bytes) -> None:
    message = rpc.parse(line)

    assert 1 <= len(message.parts) <= rpc.MAX_BATCH
    for part in message.parts:
        if isinstance(part, rpc.Request):
            assert json.loads(rpc.encode_result(part.id, b"0")) == {
                "jsonrpc": "2.0",
                "result": 0,
                "id": part.id,
            }
            continue
        reply = rpc.encode_error(part.id, part.fault)
        assert b"\n" not in reply
        answer = json.loads(reply)
        assert answer["id"] == part.id
        assert answer["error"]["code"] in CODES
        assert answer["error"]["data"]["problems"]


@given(is_good=st.lists(st.booleans(), min_size=1, max_size=rpc.MAX_BATCH))
def test_a_batch_keeps_its_order_whatever_stands_between(is_good: list[bool]) -> None:
    batch = [
        {"jsonrpc": "2.0", "method": "status", "id": number} if good else {"id": number}
        for number, good in enumerate(is_good)
    ]

    message = rpc.parse(json.dumps(batch).encode())

    assert message.is_batch
    assert [part.id for part in message.parts] == list(range(len(is_good)))
    assert [isinstance(part, rpc.Request) for part in message.parts] == is_good


# What goes out.


def test_an_error_carries_its_problems() -> None:
    fault = rpc.Fault(rpc.REFUSED, "no", [Problem("band.low", 99.0, "below band.high", "band.low: too high")])

    assert json.loads(rpc.encode_error("a", fault)) == {
        "jsonrpc": "2.0",
        "error": {
            "code": -32003,
            "message": "no",
            "data": {
                "problems": [
                    {
                        "key": "band.low",
                        "value": 99.0,
                        "allowed": "below band.high",
                        "text": "band.low: too high",
                    }
                ]
            },
        },
        "id": "a",
    }


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        pytest.param(math.nan, "nan", id="NaN"),
        pytest.param(math.inf, "inf", id="infinity"),
        pytest.param({"a": 1}, "an object", id="object"),
        pytest.param([[]], "a list", id="list"),
        pytest.param(10**5_000, "a number too large", id="huge"),
        pytest.param("x" * 300, "x" * 199 + "…", id="long text"),
        pytest.param(b"raw", "b'raw'", id="not JSON at all"),
        pytest.param(True, True, id="flag"),
        pytest.param("\udc80", "\udc80", id="lone surrogate"),
    ],
)
def test_a_refused_value_is_shown_short_and_as_json(value: object, shown: object) -> None:
    reply = rpc.encode_error(1, rpc.Fault(rpc.REFUSED, "no", [Problem("key", value, "", "")]))

    reply.decode("utf-8")
    assert json.loads(reply)["error"]["data"]["problems"][0]["value"] == shown


def test_thousands_of_problems_are_answered_with_the_first_and_how_many_more() -> None:
    problems = [Problem(str(number), number, "", "text") for number in range(1_000)]
    answer = json.loads(rpc.encode_error(1, rpc.Fault(rpc.INVALID_PARAMS, "y" * 9_000, problems)))

    shown = answer["error"]["data"]["problems"]
    assert len(shown) == rpc.MAX_PROBLEMS + 1
    assert shown[-1]["text"] == "and 950 problems more"
    assert len(answer["error"]["message"]) == rpc.MAX_TEXT


@pytest.mark.parametrize("value", [math.nan, -math.inf, {"a": [math.nan]}])
def test_what_json_has_no_form_for_is_never_written(value: object) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        rpc.encode(value)


@given(text=st.text())
def test_any_text_goes_out_as_one_line_and_comes_back_the_same(text: str) -> None:
    encoded = rpc.encode([text])

    assert b"\n" not in encoded
    assert json.loads(encoded.decode("utf-8")) == [text]


def test_a_logbook_line_becomes_the_notification_event() -> None:
    event = json.loads(rpc.encode_event(b'{"event":"start","up":1.5}\n'))

    assert event == {"jsonrpc": "2.0", "method": "event", "params": {"event": "start", "up": 1.5}}
