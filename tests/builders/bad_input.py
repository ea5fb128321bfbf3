"""Texts that no client sends by accident: too deep, too wide, too long, in the wrong letters or not JSON at all."""

import gzip
import zlib
from collections.abc import Iterator, Mapping
from itertools import repeat

FHIR = "application/fhir+json"
MEGABYTE = 1024 * 1024


def patient(inside: bytes) -> bytes:
    """A Patient's text with more elements."""
    return b'{"resourceType":"Patient",' + inside + b"}"


def named(text: bytes) -> bytes:
    """A Patient's text with the inside of a JSON string as its name."""
    return patient(b'"name":[{"text":"' + text + b'"}]')


def weighing(number: bytes) -> bytes:
    """An Observation's text with a JSON number as its value."""
    return (
        b'{"resourceType":"Observation","status":"final","code":{"text":"weight"},"valueQuantity":{"value":'
        + number
        + b"}}"
    )


DEEP: Mapping[str, bytes] = {
    "lists": b"[" * 100_000,
    "closed lists": b"[" * 100_000 + b"]" * 100_000,
    "objects": b'{"a":' * 100_000 + b"1" + b"}" * 100_000,
    "extensions": patient(b'"extension":' + b'[{"url":"urn:x","extension":' * 50_000 + b"[]" + b"}]" * 50_000),
    "a little too deep": patient(b'"extension":' + b'[{"url":"urn:x","extension":' * 32 + b"[]" + b"}]" * 32),
    "an unknown element": patient(b'"x":' + b"[" * 100_000 + b"]" * 100_000),
}
WIDE: Mapping[str, bytes] = {
    "numbers": patient(b'"name":[' + b"0," * 1_000_000 + b"0]"),
    "objects": patient(b'"name":[' + b"{}," * 600_000 + b"{}]"),
    "texts": patient(b'"name":[{"given":[' + b'"",' * 600_000 + b'""]}]'),
    "lists in lists": patient(b'"name":[' + b"[[]]," * 400_000 + b"[]]"),
    "keys": patient(b",".join(b'"k%d":1' % i for i in range(180_000))),
    "refused one by one": patient(b'"name":[' + b"0," * 90_000 + b"0]"),
    "empty texts": patient(b'"name":[{"given":[' + b'"",' * 90_000 + b'""]}]'),
    "half extensions": patient(b'"extension":[' + b'{"url":"u"},' * 90_000 + b'{"url":"u"}]'),
    "contained": patient(b'"contained":[' + b'{"resourceType":"Patient"},' * 45_000 + b"{}]"),
    "references to nothing": patient(
        b'"generalPractitioner":[' + b",".join(b'{"reference":"#a%d"}' % i for i in range(80_000)) + b"]"
    ),
    "tags": patient(
        b'"text":{"status":"generated","div":"<div xmlns=\\"http://www.w3.org/1999/xhtml\\">' + b"<b>" * 500_000 + b'"}'
    ),
    "the same key": patient(b'"active":true,' * 130_000 + b'"active":true'),
    "extensions": patient(b'"extension":[' + b'{"url":"u"},' * 150_000 + b'{"url":"u"}]'),
}
LETTERS: Mapping[str, bytes] = {
    "UTF-16 with its mark": named(b"x").decode().encode("utf-16"),
    "UTF-16 without a mark": named(b"x").decode().encode("utf-16-le"),
    "UTF-32": named(b"x").decode().encode("utf-32"),
    "Latin-1": named("Löwe".encode("latin-1")),
    "overlong": named(b"\xc0\xaf"),
    "overlong NUL": named(b"\xc0\x80"),
    "a surrogate half in UTF-8": named(b"\xed\xa0\x80"),
    "above the last character": named(b"\xf4\x90\x80\x80"),
    "cut short": named(b"\xe2\x82"),
    "a lone high half": named(rb"\ud800"),
    "a lone low half": named(rb"\udc00"),
    "halves the wrong way round": named(rb"\udc00\ud800"),
    "NUL": named(b"\0"),
    "NUL escaped": named(rb"\u0000"),
    "NUL in a key": patient(b'"na\\u0000me":[]'),
    "a raw line break": named(b"\n"),
    "a mark in the middle": patient(b'"active":\xef\xbb\xbftrue'),
    "two marks": b"\xef\xbb\xbf" * 2 + named(b"x"),
}
NUMBERS: Mapping[str, bytes] = {
    "NaN": weighing(b"NaN"),
    "Infinity": weighing(b"Infinity"),
    "minus Infinity": weighing(b"-Infinity"),
    "1e400": weighing(b"1e401"),
    "1e999999999": weighing(b"1e999999999"),
    "an exponent of 5,000 digits": weighing(b"1e" + b"9" * 5000),
    "a tiny one": weighing(b"1e-999999999"),
    "5,000 digits": weighing(b"9" * 5000),
    "5,000 decimals": weighing(b"0." + b"3" * 5000),
    "a million digits": weighing(b"9" * 1_000_000),
    "a leading zero": weighing(b"01"),
    "no digit in front": weighing(b".5"),
    "hexadecimal": weighing(b"0x10"),
}
NOT_JSON: Mapping[str, bytes] = {
    "nothing": b"",
    "spaces": b" \r\n\t ",
    "null": b"null",
    "a text": b'"Patient"',
    "a list": b"[]",
    "a list of resources": b"[" + named(b"x") + b"]",
    "an empty object": b"{}",
    "no type": b'{"active":true}',
    "a type that is a number": b'{"resourceType":1}',
    "a type that is a list": b'{"resourceType":["Patient"]}',
    "a type of nobody": b'{"resourceType":"__proto__"}',
    "a type of the model": b'{"resourceType":"DomainResource"}',
    "more behind it": named(b"x") + b"{}",
    "a comma too many": patient(b'"active":true,'),
    "single quotes": b"{'resourceType':'Patient'}",
    "a comment": b"/* */" + named(b"x"),
    "the same key twice": patient(b'"gender":"male","gender":"female"'),
    "the type twice": patient(b'"resourceType":"Observation"'),
    "the same key, escaped once": patient(rb'"gender":"male","g\u0065nder":"female"'),
    "a gzip file": gzip.compress(named(b"x")),
    "XML": b'<?xml version="1.0"?><!DOCTYPE p [<!ENTITY x SYSTEM "file:///etc/passwd">]><Patient>&x;</Patient>',
    "a prototype": patient(b'"__proto__":{"active":true},"constructor":{"prototype":{}}'),
}
ENCODED: Mapping[str, tuple[str, bytes]] = {
    "gzip": ("gzip", gzip.compress(named(b"x"))),
    "a gzip bomb": ("gzip", gzip.compress(bytes(100 * MEGABYTE))),
    "a bomb in a bomb": ("gzip, gzip", gzip.compress(gzip.compress(bytes(10 * MEGABYTE)))),
    "deflate": ("deflate", zlib.compress(bytes(10 * MEGABYTE))),
    "zstd by name": ("zstd", named(b"x")),
    "nothing known": ("x" * 1000, named(b"x")),
}
MEDIA: Mapping[str, tuple[str, bytes]] = {
    "XML": ("application/fhir+xml", NOT_JSON["XML"]),
    "plain XML": ("text/xml; charset=utf-16", NOT_JSON["XML"]),
    "turtle": ("text/turtle", b"@prefix : <urn:x> ."),
    "multipart": (
        "multipart/form-data; boundary=x",
        b'--x\r\nContent-Disposition: form-data; name="f"; filename="../../x"\r\n\r\n' + named(b"x") + b"\r\n--x--\r\n",
    ),
    "a form": ("application/x-www-form-urlencoded", b"resourceType=Patient"),
    "plain text": ("text/plain", named(b"x")),
    "none": ("", named(b"x")),
    "no sense": (";;;==,,", named(b"x")),
    "two types": (f"{FHIR}, text/plain", named(b"x")),
    "UTF-16": (f"{FHIR}; charset=utf-16", named(b"x").decode().encode("utf-16")),
    "another release": (f"{FHIR}; fhirVersion=5.0", named(b"x")),
}


def entry(inside: str) -> str:
    """One entry of a Bundle that creates; inside is the text of its resource."""
    return '{"resource":' + inside + ',"request":{"method":"POST","url":"Patient"}}'


def bundle(entries: str, kind: str = "transaction") -> bytes:
    """A Bundle's text."""
    return f'{{"resourceType":"Bundle","type":"{kind}","entry":[{entries}]}}'.encode()


_ONE = entry('{"resourceType":"Patient"}')
BUNDLES: Mapping[str, bytes] = {
    "a million numbers": bundle(",".join(repeat("0", 1_000_000))),
    "a million objects": bundle(",".join(repeat("{}", 1_000_000))),
    "a million keys": bundle("{" + ",".join(f'"k{i}":1' for i in range(700_000)) + "}"),
    "100,000 entries": bundle(",".join(repeat(entry("{}"), 100_000))),
    "501 entries": bundle(",".join([_ONE] * 501)),
    "a type that is a list": b'{"resourceType":"Bundle","type":[]}',
    "a type that is an object": b'{"resourceType":"Bundle","type":{}}',
    "entries that are a number": b'{"resourceType":"Bundle","type":"batch","entry":1}',
    "an entry that is null": bundle(f"{_ONE},null"),
    "an entry that is a list": bundle(f"{_ONE},[]"),
    "a Bundle in it": bundle(f"{_ONE},{entry(bundle(_ONE).decode())}"),
    "a list for a resource": bundle(f"{_ONE},{entry('[]')}"),
    "NUL in the second": bundle(f"{_ONE}," + entry('{"resourceType":"Patient","name":[{"text":"\\u0000"}]}')),
    "many Extensions": bundle(
        entry('{"resourceType":"Patient","extension":[' + ",".join(['{"url":"u"}'] * 600_000) + "]}")
    ),
    "references without end": bundle(
        entry('{"resourceType":"Patient","link":[' + ",".join(['{"other":{"reference":"urn:x:y"}}'] * 200_000) + "]}")
    ),
}
PATCHES: Mapping[str, bytes] = {
    "100,000 operations": b"[" + b'{"op":"test","path":"/active","value":true},' * 40_000 + b"{}]",
    "copies that double": b'[{"op":"add","path":"/name","value":[{"text":"x"}]},'
    + b",".join([b'{"op":"copy","from":"/name","path":"/name/0/extension"}'] * 60)
    + b"]",
    "copies that double in a list": b'[{"op":"add","path":"/name","value":[{"given":["xxxxxxxx"]}]},'
    + b",".join([b'{"op":"copy","from":"/name","path":"/name/-"}'] * 60)
    + b"]",
    "a path without end": b'[{"op":"add","path":"' + b"/a" * 100_000 + b'","value":1}]',
    "an index without end": b'[{"op":"add","path":"/name/' + b"9" * 5000 + b'","value":1}]',
    "a whole new resource": b'[{"op":"replace","path":"","value":{"resourceType":"Observation"}}]',
    "a number": b'[{"op":"replace","path":"","value":1}]',
    "no operation": b"[1]",
    "an operation that is a list": b'[{"op":[],"path":"/active"}]',
    "a path that is a number": b'[{"op":"add","path":1,"value":1}]',
    "NUL": b'[{"op":"add","path":"/name","value":[{"text":"\\u0000"}]}]',
    "another id": b'[{"op":"replace","path":"/id","value":"another"}]',
    "into itself": b'[{"op":"move","from":"/meta","path":"/meta/extension"}]',
}


def endless(megabytes: int) -> Iterator[bytes]:
    """The chunks of a Patient whose name is longer than anyone takes."""
    yield b'{"resourceType":"Patient","name":[{"text":"'
    yield from repeat(b"x" * 65536, megabytes * 16)
    yield b'"}]}'
