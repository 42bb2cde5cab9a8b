import json

from hypothesis import given
from hypothesis import strategies as st

from litlamp.collection.match import ReadLamp, match_lamps, match_signals
from litlamp.collection.readings_file import parse_readings
from litlamp.collection.truth_file import TrueLamp, parse_truth

PLACES = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), max_size=8)


def true_lamp(at, diameter=6.0):
    return TrueLamp("red", True, at, diameter, 1.0, None)


def read_lamp(at):
    return ReadLamp((float(at[0]), float(at[1])), "red", (1.0, 0.0, 0.0, 0.0, 0.0))


@given(PLACES, PLACES)
def test_lamps_match_one_to_one_and_within_reach(true, read):
    pairs = match_lamps([true_lamp(t) for t in true], [read_lamp(r) for r in read])
    assert len(set(pairs.values())) == len(pairs)
    for i, j in pairs.items():
        assert (true[i][0] - read[j][0]) ** 2 + (true[i][1] - read[j][1]) ** 2 <= 4.5**2


@given(PLACES, PLACES)
def test_no_near_pair_is_left_over(true, read):
    pairs = match_lamps([true_lamp(t) for t in true], [read_lamp(r) for r in read])
    free_t = [t for i, t in enumerate(true) if i not in pairs]
    free_r = [r for j, r in enumerate(read) if j not in pairs.values()]
    assert all((t[0] - r[0]) ** 2 + (t[1] - r[1]) ** 2 > 4.5**2 for t in free_t for r in free_r)


@given(PLACES)
def test_lamps_read_where_they_are_all_match_themselves(places):
    places = list(dict.fromkeys(places))
    pairs = match_lamps([true_lamp(p) for p in places], [read_lamp(p) for p in places])
    assert pairs == {i: i for i in range(len(places))}


def test_the_reach_grows_with_the_lamp():
    assert match_lamps([true_lamp((0, 0), 40.0)], [read_lamp((29, 0))]) == {0: 0}
    assert match_lamps([true_lamp((0, 0), 40.0)], [read_lamp((31, 0))]) == {}
    assert match_lamps([true_lamp((0, 0), None)], [read_lamp((4, 0))]) == {0: 0}


def both(by_hand, true, read):
    truth = parse_truth(json.dumps(by_hand.picture(*true)).encode(), "t")[0]
    reading = parse_readings(json.dumps(by_hand.record(*read)).encode(), "r")[0]
    return truth.signals, reading.signals


@given(st.permutations(range(4)))
def test_signals_match_whatever_their_order(by_hand, order):
    true = [by_hand.signal("red", "red", rule="439", x=100.0 + 80 * i) for i in range(4)]
    pairs = match_signals(*both(by_hand, true, [by_hand.read(true[i]) for i in order]))
    assert pairs == {i: order.index(i) for i in range(4)}


def test_a_signal_read_elsewhere_is_none(by_hand):
    true = by_hand.signal("red", rule="437", x=100)
    far = by_hand.read(by_hand.signal("red", rule="437", x=400))
    assert match_signals(*both(by_hand, [true], [far])) == {}


def test_a_lamp_in_place_is_enough_where_boxes_disagree(by_hand):
    true = by_hand.signal("red", "red", rule="439")
    read = by_hand.read(true) | {"box": [99, 49, 101, 51]}
    assert match_signals(*both(by_hand, [true], [read])) == {0: 0}


def test_the_better_of_two_halves_is_the_signal(by_hand):
    true = by_hand.signal("green", "red", "red", rule="405")
    top = by_hand.read(by_hand.signal("green", rule="405"))
    whole = by_hand.read(true)
    assert match_signals(*both(by_hand, [true], [top, whole])) == {0: 1}
