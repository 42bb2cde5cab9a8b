from __future__ import annotations

import csv
import io

from litlamp.aspects.cautions import LONG
from litlamp.report.signal_table import COLUMNS, settled, signal_table


def rows(ride) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(signal_table(ride.record), newline="")))


def test_one_row_a_signal_with_the_guarded_reading_and_the_caution(ride_by_hand, by_hand) -> None:
    first, second = rows(ride_by_hand(said=[by_hand.settled(), by_hand.guarded()]))
    assert tuple(first) == COLUMNS
    assert (first["rule"], first["guarded_rule"]) == ("411", "411")
    assert (second["rule"], second["guarded_rule"]) == ("436", "439")
    assert first["caution"] == second["caution"] == LONG
    assert (first["first_seen_s"], first["last_seen_s"]) == ("1.000", "4.000")
    # Clear to Stop, then (Restricting, or Stop): what the first announced fits the second's set alone.
    assert second["follows"] == "open"
    assert "Stop" in second["order"]


def test_what_was_not_read_leaves_its_cells_empty(ride_by_hand, by_hand) -> None:
    (row,) = rows(ride_by_hand([(1.0, 2.0)], [by_hand.nothing()]))
    assert row["rule"] == row["guarded_rule"] == row["probability"] == row["first_known_s"] == ""


def test_a_ride_without_signals_is_a_table_without_rows(ride_by_hand) -> None:
    assert rows(ride_by_hand([])) == []


def test_since_when_a_reading_stood(ride_by_hand) -> None:
    import msgspec

    signal = ride_by_hand([(1.0, 5.0)]).record.signals[0]
    known = signal.footage.known
    assert settled(signal) == known[0].at_s
    other = msgspec.structs.replace(known[1], guarded=msgspec.structs.replace(known[1].guarded, rule="439"))
    wavered = msgspec.structs.replace(signal.footage, known=(known[0], other, known[2]))
    assert settled(msgspec.structs.replace(signal, footage=wavered)) == known[2].at_s


def test_no_cell_is_a_formula(ride_by_hand, by_hand) -> None:
    from dataclasses import replace

    (row,) = rows(ride_by_hand([(1.0, 2.0)], [replace(by_hand.settled(), aspect="=HYPERLINK(0)")]))
    assert row["aspect"].startswith("'=")
