"""What saving does to a picture: JPEG once or twice, resizing on the way, and a video coder's blocks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Sampling = Literal["444", "422", "420"]

_FACTOR: dict[Sampling, int] = {
    "444": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
    "422": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_422,
    "420": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420,
}


@dataclass(frozen=True, slots=True)
class Saving:
    """How a picture was saved.

    Attributes
    ----------
    quality : JPEG quality of each save in turn; empty for none.
    sampling : of colour in JPEG.
    shift : (x, y) px of the block grid off the picture's corner, as in a crop of a larger picture.
    resized : share of the size at which it was saved the last time, then brought back; 1 for its own.
    video : quantiser step, codes, of a video coder before any JPEG; 0 for a still.
    """

    quality: tuple[int, ...] = (92,)
    sampling: Sampling = "420"
    shift: tuple[int, int] = (0, 0)
    resized: float = 1.0
    video: float = 0.0


def save(picture: Pixels, saving: Saving) -> Pixels:
    """The picture (H, W, 3) RGB as it comes back from having been saved so; the same size."""
    out = picture
    x, y = saving.shift
    if x or y:
        out = np.asarray(cv2.copyMakeBorder(out, y, 0, x, 0, cv2.BORDER_REFLECT), np.uint8)
    if saving.video > 0:
        out = video(out, saving.video)
    for i, quality in enumerate(saving.quality):
        last = i == len(saving.quality) - 1
        if last and saving.resized < 1:
            out = resized(jpeg(resized(out, saving.resized), quality, saving.sampling), out.shape)
        else:
            out = jpeg(out, quality, saving.sampling)
    return np.ascontiguousarray(out[y:, x:])


def jpeg(picture: Pixels, quality: int, sampling: Sampling = "420") -> Pixels:
    """The picture through one JPEG save."""
    how = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, _FACTOR[sampling]]
    _, data = cv2.imencode(".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), how)
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR_RGB), np.uint8)


def resized(picture: Pixels, to: float | tuple[int, ...]) -> Pixels:
    """The picture at a share of its size, or at the (H, W) given."""
    h, w = picture.shape[:2]
    size = to[:2] if isinstance(to, tuple) else (max(round(h * to), 1), max(round(w * to), 1))
    way = cv2.INTER_AREA if size[0] <= h else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(picture, (size[1], size[0]), interpolation=way), np.uint8)


def video(picture: Pixels, step: float) -> Pixels:
    """The picture as a frame of a tight video: flat quantising of 8 x 8 transforms, then a deblocking filter.

    A likeness of what block coders of video do to one frame, not a bit stream: colour at half size, one
    quantiser `step` (codes) for every frequency, small coefficients dropped.
    """
    h, w = picture.shape[:2]
    padded = cv2.copyMakeBorder(picture, 0, -h % 16, 0, -w % 16, cv2.BORDER_REFLECT)
    ycc = np.asarray(cv2.cvtColor(padded, cv2.COLOR_RGB2YCrCb), np.uint8)
    out = [_deblocked(_coded(ycc[:, :, 0], step), step)]
    for plane in (ycc[:, :, 1], ycc[:, :, 2]):
        back = _coded(resized(plane, 0.5), 0.9 * step)
        wide = cv2.resize(back, (ycc.shape[1], ycc.shape[0]), interpolation=cv2.INTER_LINEAR)
        out.append(np.asarray(wide, np.float32))
    codes = cv2.merge([np.clip(p + np.float32(0.5), 0, 255).astype(np.uint8) for p in out])
    return np.asarray(cv2.cvtColor(codes, cv2.COLOR_YCrCb2RGB)[:h, :w], np.uint8)


@cache
def _cosines() -> NDArray[np.float32]:
    """The orthonormal 8-point discrete cosine transform."""
    return np.asarray(cv2.dct(np.eye(8, dtype=np.float32), flags=cv2.DCT_ROWS).T, np.float32)


def _coded(plane: Pixels, step: float) -> NDArray[np.float32]:
    h, w = plane.shape
    c = _cosines()
    blocks = plane.reshape(h // 8, 8, w // 8, 8).swapaxes(1, 2).astype(np.float32)
    parts = c @ blocks @ c.T
    # A coder rounds towards nothing: what is under two thirds of a step is not worth its bits.
    level = np.floor(np.abs(parts) * np.float32(1 / step) + np.float32(1 / 3))
    parts = np.copysign(level * np.float32(step), parts)
    back = c.T @ parts @ c
    return np.asarray(back.swapaxes(1, 2).reshape(h, w), np.float32)


def _deblocked(plane: NDArray[np.float32], step: float) -> NDArray[np.float32]:
    """Small steps across block edges are evened out; larger ones are taken for the picture's own."""
    for p in (plane, plane.T):
        left, right = p[:, 7:-8:8], p[:, 8::8]
        gap = right - left
        fix = np.where(np.abs(gap) < 0.8 * step, gap * np.float32(0.3), np.float32(0))
        p[:, 7:-8:8] += fix
        p[:, 8::8] -= fix
        p[:, 6:-8:8] += fix * np.float32(0.4)
        p[:, 9::8] -= fix * np.float32(0.4)
    return plane
