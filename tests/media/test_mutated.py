"""Damaged files of every kind: a frame or one MediaError, never another exception, never a crash."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pytest

from litlamp.media.photo import MediaError, read_photo

EACH = 120  # x 7 kinds = 840 files


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "BMP", "AVIF", "GIF"])
def test_a_damaged_file_is_a_frame_or_one_error(
    kind: str, damaged: Callable[[str, int], Iterator[bytes]], capfd: pytest.CaptureFixture[str]
) -> None:
    refused = 0
    for data in damaged(kind, EACH):
        try:
            frame = read_photo(data, pixel_limit=4_000_000)
        except MediaError as error:
            refused += 1
            assert error.sentence
            assert "\n" not in error.sentence
        else:
            assert frame.rgb.dtype == np.uint8
            assert frame.rgb.ndim == 3
            assert min(frame.rgb.shape) >= 1
    assert 10 < refused <= EACH
    assert capfd.readouterr().err == ""
