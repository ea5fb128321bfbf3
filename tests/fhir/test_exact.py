"""JSON text in, the same digits out; what is not one well-formed value is refused by name."""

import json
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.basics.errors import Invalid
from service.fhir import exact


def refused(text: bytes) -> list[tuple[str, str]]:
    with pytest.raises(Invalid) as caught:
        exact.decode(text)
    assert all(f.reason == "structure" for f in caught.value.faults)
    return [(f.where, f.text) for f in caught.value.faults]


@pytest.mark.parametrize(
    "number",
    [
        "0.40",
        "19.00",
        "0.10",
        "123456789.123456789012",
        "-0",
        "-0.0",
        "0.0000001",
        "1.50",
        "80",
        "0E+2",
        "0.00000000000",
        "12345678901234567890123",
        "1E+2",
    ],
)
def test_every_digit_of_a_number_survives(number: str) -> None:
    text = f'{{"value":{number}}}'.encode()
    assert exact.encode(exact.decode(text)) == text


def test_a_fraction_is_a_decimal_and_a_whole_number_an_int() -> None:
    value = exact.decode(b'{"a":0.40,"b":4,"c":1e2}')
    assert value == {"a": Decimal("0.40"), "b": 4, "c": Decimal("1E+2")}
    assert [type(v) for v in value.values()] == [Decimal, int, Decimal]
    assert str(value["a"]) == "0.40"


def test_an_exponent_keeps_value_and_precision() -> None:
    assert exact.encode(exact.decode(b'{"a":1.20e-3,"b":"E-mail","c":[1e-7]}')) == (
        b'{"a":0.00120,"b":"E-mail","c":[0.0000001]}'
    )


def test_order_of_keys_and_letters_beyond_ascii_are_kept() -> None:
    text = '{"z":"Bärbel 犬 \U0001f415","a":["/","\\"","\\\\u0000"]}'.encode()
    assert exact.encode(exact.decode(text)) == text
    assert exact.decode(rb'"\ud83d\udc15"') == "\U0001f415"


def test_a_byte_order_mark_is_passed_over() -> None:
    assert exact.decode(b'\xef\xbb\xbf{"a":1}') == {"a": 1}


@pytest.mark.parametrize(
    ("text", "where", "words"),
    [
        (
            b'{"resourceType":"Patient","name":[{"text":"a","text":"b"}]}',
            "Patient.name[0].text",
            '"text" comes more than',
        ),
        (b'{"a":1,"a":1}', "a", '"a" comes more than once'),
        (rb'{"a":"\u0022x","b":1,"b":"y"}', "b", "more than once"),
        (b'{"a" :": ","a" :": "}', "a", "more than once"),
        (rb'{"resourceType":"Patient","id":"a\u0000b"}', "Patient.id", "NUL"),
        (rb'{"a\u0000":1}', "", "NUL"),
        (rb'{"a":["\ud800"]}', "a[0]", "surrogate"),
        (b'{"a":NaN}', "", "NaN is not"),
        (b'{"a":-Infinity}', "", "-Infinity is not"),
        (b'{"a":1e401}', "", "exponent beyond 400"),
        (b'{"a":1e-99999999999999999999}', "", "exponent beyond 400"),
        (b'{"a":' + b"1" * 4301 + b"}", "", "more than 4300 digits"),
        (b'{"a":0.' + b"1" * 4301 + b"}", "", "more than 4300 digits"),
        (b'{"a":"\xff"}', "", "not UTF-8 at byte 6"),
        (b'{"a":"\xed\xa0\x80"}', "", "not UTF-8"),
        (b"", "", "not JSON at line 1, column 1"),
        (b'{"a":1}{}', "", "not JSON"),
        (b'{"a":01}', "", "not JSON"),
        (b'{"a":"x\ty"}', "", "not JSON"),
        (b'{"a":"x\0y"}', "", "not JSON"),
        (b"[" * 65 + b"]" * 65, "", "nested deeper than 64"),
        (b"[" * 100_000 + b"]" * 100_000, "", "nested deeper than 64"),
        (b'{"a":' * 100_000, "", "nested deeper than 64"),
        (b'{"b":-0,"a":' + b"[" * 64 + b"]" * 64 + b"}", "a" + "[0]" * 63, "nested too deep"),
    ],
)
def test_what_is_not_one_well_formed_value_is_refused_by_name(text: bytes, where: str, words: str) -> None:
    faults = refused(text)
    assert any(w == where and words in t for w, t in faults), faults


def test_every_key_that_comes_twice_is_named_at_once() -> None:
    faults = refused(b'{"a":1,"a":2,"b":{"c":1,"c":1},"d":"e","d":"e"}')
    assert [where for where, _ in faults] == ["a", "d", "b.c"]


def test_many_keys_that_come_twice_cost_little() -> None:
    text = b"{" + b",".join(b'"%d":1' % (i // 2) for i in range(100_000)) + b"}"
    assert len(refused(text)) == 200


def test_depth_64_is_taken() -> None:
    text = b"[" * 64 + b"]" * 64
    assert exact.encode(exact.decode(text)) == text


def test_brackets_inside_text_are_not_depth() -> None:
    text = json.dumps({"a": "[{" * 500}).encode()
    assert exact.decode(text) == {"a": "[{" * 500}


_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(st.characters(exclude_characters="\0", codec="utf-8")),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text('ab"\\:é{', max_size=3), inner, max_size=4),
    max_leaves=20,
)


@settings(max_examples=150, deadline=None)
@given(_values, st.booleans())
def test_it_reads_what_the_standard_library_reads(value: object, ascii_only: bool) -> None:
    text = json.dumps(value, ensure_ascii=ascii_only, indent=1 if ascii_only else None).encode()
    assert exact.decode(text) == value
    assert exact.decode(exact.encode(value)) == value


@settings(max_examples=150, deadline=None)
@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**12), max_value=10**12, places=7))
def test_decimals_come_back_with_their_digits(number: Decimal) -> None:
    assert str(exact.decode(exact.encode([number]))[0]) == str(number)


def test_pretty_touches_no_number() -> None:
    assert exact.pretty(b'{"a":[0.40,1e-7]}') == b'{\n  "a": [\n    0.40,\n    1e-7\n  ]\n}'


def test_an_instant_is_utc_with_milliseconds() -> None:
    berlin = timezone(timedelta(hours=1))
    assert exact.instant(datetime(2026, 11, 25, 14, 4, 29, 123456, berlin)) == "2026-11-25T13:04:29.123Z"
    assert exact.instant(datetime(2026, 11, 25, tzinfo=UTC)) == "2026-11-25T00:00:00.000Z"
    with pytest.raises(ValueError, match="time zone"):
        exact.instant(datetime(2026, 11, 25))  # noqa: DTZ001
