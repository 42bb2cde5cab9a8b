"""Which packets of a stream hold pictures that can be done without, told before they are decoded.

Coders make some pictures from which no other is made: to leave one out changes nothing else. At thirty a
second a lamp that flashes is followed as well by two of three, and decoding is what a clip costs most.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator

from av.packet import Packet
from av.video.stream import VideoStream

SLOWEST = 1 / 23
"""Seconds; where pictures are further apart than this, each is decoded."""
QUICK = 1 / 47
"""Seconds; where they are as close as this, each second one may be left out, else one in three, so that both
kinds stay where a lamp is dark in every other picture."""
_LATELY = 8
"""Packets over which their longest duration is taken: those of uneven clips differ."""
_PROGRESSIVE = 1  # AV_FIELD_PROGRESSIVE


def _h264(first: int, _second: int, _layer: int) -> bool | None:
    """By the header of a unit of H.264: whether it is part of such a picture; None: of none at all."""
    return first >> 5 & 3 == 0 if 1 <= first & 31 <= 5 else None


def _hevc(first: int, second: int, layers: int) -> bool | None:
    """The same of H.265, which codes pictures in so many sub-layers."""
    kind = first >> 1 & 63
    if kind > 31:
        return None
    return kind <= 14 and kind % 2 == 0 and second & 7 == layers


_FREE: dict[str, Callable[[int, int, int], bool | None]] = {"h264": _h264, "hevc": _hevc}


class Spare:
    """Tells of packets in decoding order whether to leave them out; the same ones from each key picture on.

    H.264 tells of each picture whether others are made from it (ITU-T H.264, 7.4.1, nal_ref_idc), H.265 too
    (ITU-T H.265, table 7-1, sub-layer non-reference pictures, here those of the topmost sub-layer alone). Of
    any other coding, of H.264 in two fields, and of what does not make sense, nothing is left out.
    """

    def __init__(self, stream: VideoStream) -> None:
        context = stream.codec_context
        head = context.extradata or b""
        self._free = _FREE.get(context.name)
        self._layers = 0
        self._prefix = 0
        if self._free is _h264:
            # One of two fields may come as a packet of its own: without it the other is no picture.
            if context.field_order != _PROGRESSIVE:
                self._free = None
            self._prefix = (head[4] & 3) + 1 if len(head) > 6 and head[0] == 1 else 0
        elif self._free is _hevc:
            # Without this record it is not known how many sub-layers there are.
            if len(head) > 22 and head[0] == 1 and (layers := head[21] >> 3 & 7):
                self._prefix, self._layers = (head[21] & 3) + 1, layers
            else:
                self._free = None
        self._gone: deque[int] = deque(maxlen=_LATELY)
        self._durations: deque[int] = deque(maxlen=_LATELY)
        self._last: int | None = None

    def leaves_out(self, packet: Packet[VideoStream]) -> bool:
        """Whether this packet, the next in decoding order, is not to be decoded."""
        if packet.is_keyframe:
            self._gone.clear()
            self._durations.clear()
            self._last = None
        if self._free is None or packet.pts is None or packet.dts is None or not packet.time_base:
            return False
        # A transport stream does not tell how long its pictures are shown.
        duration = packet.duration or (0 if self._last is None else packet.dts - self._last)
        self._last = packet.dts
        if duration <= 0:
            return False
        self._durations.append(duration)
        apart = max(self._durations)
        seconds = float(apart * packet.time_base)
        if seconds > SLOWEST:
            return False
        least = (1.5 if seconds <= QUICK else 2.5) * apart
        if any(abs(packet.pts - pts) < least for pts in self._gone) or not self._alone(packet):
            return False
        self._gone.append(packet.pts)
        return True

    def _alone(self, packet: Packet[VideoStream]) -> bool:
        """Whether no other picture is made from this one."""
        assert self._free is not None
        data = memoryview(packet)
        told = [self._free(data[at], data[at + 1], self._layers) for at in _units(data, self._prefix)]
        parts = [free for free in told if free is not None]
        return bool(parts) and all(parts)


def _units(data: memoryview, prefix: int) -> Iterator[int]:
    """Where the units of a packet begin: each after its length in so many bytes, or after a start code (0).

    What is cut off is not given.
    """
    at = 0
    if prefix:
        while at + prefix + 2 <= len(data):
            length = int.from_bytes(data[at : at + prefix], "big")
            yield at + prefix
            at += prefix + length
        return
    whole = bytes(data)
    if not whole.startswith((b"\0\0\1", b"\0\0\0\1")):
        return
    while (at := whole.find(b"\0\0\1", at) + 3) > 2 and at + 2 <= len(whole):
        yield at
