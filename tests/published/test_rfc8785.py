"""The canonical form of log lines compared with the vectors of RFC 8785.

Source: github cyberphone/json-canonicalization @19d51d7, testdata. The first tests check the library ``rfc8785``, which
the log uses for most data. The last test checks that the reader of logs accepts the vectors.
"""

import json
import struct
from hashlib import sha256

import pytest
import rfc8785

from benchflow.session.log.line_format import read
from tests.driving.log_files import foreign_log

FILES = {
    "arrays": (
        '[56,{"d":true,"10":null,"1":[]}]',
        32,
        "099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42",
    ),
    "structures": (
        '{"1":{"f":{"f":"hi","F":5},"\\n":56},"10":{},"":"empty","a":{},"111":[{"e":"yes","E":"no"}],"A":{}}',
        98,
        "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5",
    ),
    "unicode": (
        '{"Unnormalized Unicode":"A\\u030a"}',
        30,
        "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3",
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_published_files_are_reproduced_byte_for_byte(name: str) -> None:
    text, length, digest = FILES[name]
    canonical = rfc8785.dumps(json.loads(text))
    assert (len(canonical), sha256(canonical).hexdigest()) == (length, digest)


def test_published_numbers_are_reproduced() -> None:
    text = "[333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001]"
    assert rfc8785.dumps(json.loads(text)) == b"[333333333.3333333,1e+30,4.5,0.002,1e-27]"


@pytest.mark.parametrize(
    ("bits", "printed"),
    [
        ("4340000000000001", "9007199254740994"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("8000000000000000", "0"),
    ],
)
def test_published_doubles_are_reproduced(bits: str, printed: str) -> None:
    (double,) = struct.unpack(">d", bytes.fromhex(bits))
    assert rfc8785.dumps(double) == printed.encode()


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("spelling", ["as given", "canonical"])
def test_published_files_verify_in_a_log_in_their_canonical_form(name: str, spelling: str) -> None:
    data = {"file": json.loads(FILES[name][0])}
    dump = json.dumps if spelling == "as given" else lambda value: rfc8785.dumps(value).decode()
    raw = foreign_log([data], dump)
    found = read(raw)
    canonical = raw == foreign_log([data], lambda value: rfc8785.dumps(value).decode())
    assert (found.damage is None) == canonical  # a log has only lines in the canonical form
    assert canonical or spelling == "as given"
    assert [line.data for line in found.lines] == ([data] if canonical else [])
