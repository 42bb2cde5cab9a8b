from __future__ import annotations

import msgspec
import pytest

from litlamp.report.footage_record import (
    FootageRecord,
    FootageSignal,
    PassedRecord,
    RideRecord,
    schema_markdown,
    validate_ride,
)
from litlamp.report.record import RecordError, encode, validate_line


def test_a_line_is_a_line_of_readings_and_comes_back(ride_by_hand) -> None:
    of = ride_by_hand().record
    line = encode(of)
    assert validate_ride(line) == of
    assert len(validate_line(line).signals) == 2


def test_every_key_is_documented() -> None:
    text = schema_markdown()
    for kind in (PassedRecord, RideRecord):
        for key in kind.__struct_fields__:
            assert f"`{key}`" in text
    assert FootageSignal.__struct_fields__[-1] == "footage"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: d["footage"].update(version=2), "footage 2 is unknown"),
        (lambda d: d.pop("footage"), "footage None is unknown"),
        (lambda d: d["signals"][0]["footage"]["known"].reverse(), "moments are out of order"),
        (lambda d: d["signals"].reverse(), "signals are out of order"),
        (lambda d: d["signals"][0]["footage"].pop("known"), "known"),
        (lambda d: d.update(schema=9), "schema 9"),
    ],
)
def test_what_is_wrong_is_named(ride_by_hand, change, said) -> None:
    data = msgspec.json.decode(encode(ride_by_hand().record))
    change(data)
    with pytest.raises(RecordError, match=said):
        validate_ride(msgspec.json.encode(data))


def test_keys_that_are_not_known_are_ignored(ride_by_hand) -> None:
    data = msgspec.json.decode(encode(ride_by_hand().record))
    data["signals"][0]["footage"]["later"] = 1
    assert isinstance(validate_ride(msgspec.json.encode(data)), FootageRecord)
