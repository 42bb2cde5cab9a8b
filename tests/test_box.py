import msgspec
import numpy as np

from litlamp.box import Box


def test_a_box_of_numpy_numbers_lists_numbers_that_json_can_hold():
    edges = Box(*np.array([1.04, 2.0, 3.26, 4.0])).as_list()
    assert msgspec.json.encode(edges) == b"[1.0,2.0,3.3,4.0]"
