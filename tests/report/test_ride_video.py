from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from litlamp.report import ride_video
from litlamp.report.ride_video import write_video
from litlamp.report.whole_file import WriteError

FPS, SECONDS, SIZE = 10, 3, (320, 180)


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Grey frames, one brighter than the other, at uneven times that begin at 1 s, with a sound."""
    return _clip(tmp_path_factory.mktemp("clip") / "clip.mp4", "aac")


def _clip(path: Path, codec: str) -> Path:
    with av.open(str(path), "w") as out:
        video = out.add_stream("libx264", rate=FPS)
        video.width, video.height, video.pix_fmt = *SIZE, "yuv420p"
        video.codec_context.time_base = video.time_base = Fraction(1, 1000)
        audio = out.add_stream(codec, rate=48_000)
        audio.codec_context.layout = "mono"
        for i in range(FPS * SECONDS):
            frame = av.VideoFrame.from_ndarray(np.full((SIZE[1], SIZE[0], 3), 60 + 4 * i, np.uint8), "rgb24")
            frame.pts, frame.time_base = 1000 + 100 * i + (30 if i % 3 == 1 else 0), Fraction(1, 1000)
            out.mux(video.encode(frame))
        form = audio.codec_context.format.name
        for i in range(SECONDS * 48_000 // 1024):
            wave = np.sin(np.arange(1024) / 20)[None] * 0.3
            data = (wave * 32767).astype(np.int16) if form.startswith("s16") else wave.astype(np.float32)
            sound = av.AudioFrame.from_ndarray(data, form, "mono")
            sound.sample_rate, sound.pts, sound.time_base = 48_000, 48_000 + 1024 * i, Fraction(1, 48_000)
            out.mux(audio.encode(sound))
        out.mux(video.encode(None))
        out.mux(audio.encode(None))
    return path


def written(path: Path) -> tuple[list[float], list[np.ndarray]]:
    with av.open(str(path)) as file:
        frames = [(f.time, f.to_ndarray(format="rgb24")) for f in file.decode(video=0)]
    return [t for t, _ in frames], [p for _, p in frames]


def test_every_frame_is_there_at_its_time_with_words_below(ride_by_hand, clip: Path, tmp_path: Path) -> None:
    ride = ride_by_hand([(0.5, 2.5)], length=3.0)
    notes = write_video(str(clip), tmp_path / "out.mp4", ride.record, ride.passed)
    assert notes == ()
    times, pictures = written(tmp_path / "out.mp4")
    own, _ = written(clip)
    assert len(times) == FPS * SECONDS
    assert times == pytest.approx([t - own[0] for t in own], abs=1e-3)
    high = pictures[0].shape[0]
    assert high > 360 and pictures[0].shape[1] == 640  # small pictures are enlarged, the strip is below
    for i, picture in enumerate(pictures):
        assert abs(int(picture[300, 600, 0]) - (60 + 4 * i)) < 8
        assert picture[360:].max() > 150  # words
    before, within = pictures[2], pictures[15]
    flat = lambda p: int(np.ptp(p[:350].astype(int), axis=(0, 1)).max())  # noqa: E731
    assert flat(before) < 40 < flat(within)  # a frame round the signal while it is in view
    assert [p.name for p in tmp_path.iterdir()] == ["out.mp4"]


def test_the_frame_stands_round_the_heads(ride_by_hand, clip: Path, tmp_path: Path) -> None:
    ride = ride_by_hand([(0.5, 2.5)], length=3.0)
    write_video(str(clip), tmp_path / "out.mp4", ride.record, ride.passed)
    times, pictures = written(tmp_path / "out.mp4")
    i = min(range(len(times)), key=lambda k: abs(times[k] - 1.5))
    one = ride.passed[0]
    k = min(range(len(one.times)), key=lambda j: abs(one.times[j] - times[i]))
    x0, y0, x1, y1 = (2 * v for v in one.edges[4 * k : 4 * k + 4])
    changed = np.argwhere(
        np.abs(pictures[i][:355].astype(int) - int(pictures[i][340, 600, 0])).max(axis=2) > 40
    )
    assert changed[:, 1].min() < x0 and changed[:, 1].max() > x1
    assert changed[:, 0].max() > min(y1, 300)
    inside = pictures[i][int(y0) + 6 : int(y1) - 6, int(x0) + 6 : int(x1) - 6].astype(int)
    assert np.ptp(inside) < 30  # and hides nothing of them


def test_the_sound_is_taken_over_as_it_is(ride_by_hand, clip: Path, tmp_path: Path) -> None:
    ride = ride_by_hand([], length=3.0)
    write_video(str(clip), tmp_path / "out.mp4", ride.record, ride.passed)

    def packets(path: Path, shift: float) -> list[tuple[float, bytes]]:
        with av.open(str(path)) as file:
            stream = file.streams.audio[0]
            own = [(float(p.pts * stream.time_base) - shift, bytes(p)) for p in file.demux(stream) if p.size]
        return [(round(t, 2), data) for t, data in own if t >= 0]

    ours, theirs = packets(tmp_path / "out.mp4", 0.0), packets(clip, 1.0)
    assert len(ours) > 100
    assert [d for _, d in ours] == [d for _, d in theirs]
    assert [t for t, _ in ours] == pytest.approx([t for t, _ in theirs], abs=0.03)


def test_sound_that_mp4_takes_not_is_told(ride_by_hand, tmp_path: Path) -> None:
    ride = ride_by_hand([], length=3.0)
    given = _clip(tmp_path / "clip.mkv", "pcm_s16le")
    (note,) = write_video(str(given), tmp_path / "out.mp4", ride.record, ride.passed)
    assert "pcm_s16le" in note
    with av.open(str(tmp_path / "out.mp4")) as file:
        assert not file.streams.audio


def test_a_full_disk_leaves_nothing_half_done(
    ride_by_hand, clip: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full:
        """A file on a disk that takes no more than so many bytes."""

        def __init__(self, file: Any) -> None:
            self._file, self._left = file, 3000
            self.seek, self.tell = file.seek, file.tell

        def write(self, data: bytes) -> int:
            self._left -= len(data)
            if self._left < 0:
                raise OSError(28, "No space left on device")
            return int(self._file.write(data))

    out = ride_video._Out
    monkeypatch.setattr(ride_video, "_Out", lambda file: out(Full(file)))
    ride = ride_by_hand([(0.5, 2.5)], length=3.0)
    with pytest.raises(WriteError, match="no space left on device"):
        write_video(str(clip), tmp_path / "out.mp4", ride.record, ride.passed)
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written_to_is_told_before_any_frame(
    ride_by_hand, clip: Path, tmp_path: Path
) -> None:
    ride = ride_by_hand([], length=3.0)
    for place in (tmp_path, tmp_path / "none" / "out.mp4"):
        with pytest.raises(WriteError):
            write_video(str(clip), place, ride.record, ride.passed)


@pytest.mark.parametrize(
    "size", [(320, 180), (1920, 1080), (3840, 2160), (1080, 1920), (7, 5), (2000, 20), (639, 1)]
)
def test_the_plan_is_even_and_words_have_room(size: tuple[int, int]) -> None:
    plan = ride_video._Plan.of(size)
    assert all(v % 2 == 0 and v >= 2 for v in (*plan.picture, plan.strip))
    assert max(plan.picture) <= ride_video.MOST_SIDE + 2
    assert plan.strip >= 3 * plan.text
