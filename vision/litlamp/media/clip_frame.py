"""One picture of a clip with its exact time; its RGB is made only where it is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from litlamp.box import Box
from litlamp.media.frame import Frame, Pixels, Time
from litlamp.media.planes import Picture, whole_pixels


@dataclass(frozen=True, slots=True, eq=False)
class ClipFrame:
    """A picture of a clip.

    It holds its decoded planes for as long as it or a view of it lives: keep crops, not frames.

    Attributes
    ----------
    picture : as decoded; look at it through the methods here.
    time : the container's own ticks, unrounded.
    times_fault : why the times up to and with this frame cannot be trusted for a rate, or None. Once set it
        stays for the rest of the clip.
    conversions : what `rgb` does, in order ("BT.709 by its tag", "HLG tone-mapped", "turned 90 degrees").
    damaged : the decoder marked this picture as damaged.
    """

    picture: Picture
    time: Time
    times_fault: str | None = None
    conversions: tuple[str, ...] = ()
    damaged: bool = False

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in px, upright."""
        return self.picture.size

    @property
    def luma(self) -> Pixels:
        """The luma plane, uint8 (H, W), upright, read-only, in the codes of the stream.

        A view without copying for 8-bit video, turned by its strides alone; computed anew at each call for
        deeper video (its upper 8 bits) and for RGB sources.
        """
        return self.picture.luma()

    @property
    def luma_span(self) -> tuple[int, int]:
        """The codes of black and white in `luma`: (16, 235) or (0, 255)."""
        return self.picture.luma_span()

    @property
    def chroma(self) -> tuple[Pixels, Pixels] | None:
        """Cb and Cr, uint8, upright, read-only, at their own (mostly half) size; None where there is none."""
        return self.picture.chroma()

    def rgb(self, box: Box | None = None) -> Pixels:
        """The whole px that `box` touches, or all, as sRGB.

        Returns
        -------
        uint8, shape (h, w, 3), colour order R G B, upright, C-contiguous. The same pixels as that part of
        the whole frame.

        Raises
        ------
        ValueError
            The box lies outside the picture.
        """
        return self.picture.rgb(whole_pixels(box, self.size))

    def frame(self) -> Frame:
        """All of it as a still with its time."""
        return Frame(self.rgb(), self.time, self.conversions)


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """What a decoder hands on: a picture and its ticks (None where the stream has none)."""

    picture: Picture
    pts: int | None
    time_base: Fraction
    conversions: tuple[str, ...] = ()
    damaged: bool = False


@dataclass(frozen=True, slots=True)
class Start:
    """Where a clip is gone on with: a frame's time, that of the clip's first, and how many came before."""

    time: Time
    first: Time
    frames: int


def too_large(width: int, height: int, limit: int) -> str:
    """The sentence for frames that are not read for their size."""
    return f"this clip's frames have {width} x {height} pixels; at most {limit / 1e6:g} million are read"
