import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.box import Box, union_of

edges = st.floats(-1e4, 1e4)
boxes = st.builds(
    lambda x, y: Box(min(x), min(y), max(x), max(y)), st.tuples(edges, edges), st.tuples(edges, edges)
)


def test_a_box_of_numpy_numbers_lists_numbers_that_json_can_hold():
    listed = Box(*np.array([1.04, 2.0, 3.26, 4.0])).as_list()
    assert msgspec.json.encode(listed) == b"[1.0,2.0,3.3,4.0]"


@given(st.lists(boxes, min_size=1, max_size=6))
def test_the_box_round_several_holds_each_and_no_smaller_one_does(several):
    whole = union_of(several)
    for edge, of in (("x0", min), ("y0", min), ("x1", max), ("y1", max)):
        assert getattr(whole, edge) == of(getattr(b, edge) for b in several)


def test_round_no_box_there_is_none():
    with pytest.raises(TypeError):
        union_of([])
