import resource
import subprocess
import sys
import time
from pathlib import Path

import av
import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.media.clip import open_clip
from litlamp.scene.clip import draw_clip
from litlamp.scene.clip_file import ClipFileError, save_clip

RED = Aspect((Lamp("red"),), "mast", "vertical")


@pytest.fixture(scope="module")
def clip():
    return draw_clip(RED, seed=1, size=(160, 96), seconds=1.0, fps=20, uneven=0.4)


@pytest.mark.parametrize("ending", [".mp4", ".mov"])
def test_every_frame_comes_back_at_its_exact_time(clip, tmp_path, ending):
    out = tmp_path / f"a{ending}"
    save_clip(clip.frames(), out, clip.size, clip.fps, quality=12)
    assert [p.name for p in tmp_path.iterdir()] == [out.name]
    with open_clip(str(out)) as back:
        read = [(f.time.pts * f.time.time_base, f.rgb()) for f in back]
        assert back.times_fault is None
        assert back.notes == ()
    assert [t for t, _ in read] == [t.pts * t.time_base for t in clip.times]
    for (_, rgb), drawn in zip(read, clip.frames(), strict=True):
        off = rgb.astype(float) - drawn.rgb
        assert np.abs(off).mean() < 6
        assert np.abs(off.mean(axis=(0, 1))).max() < 1.5  # colours as they were: the right matrix and range


def test_the_file_says_how_its_colours_are_meant(clip, tmp_path):
    out = tmp_path / "a.mp4"
    save_clip(clip.frames(), out, clip.size, clip.fps)
    with av.open(str(out)) as file:
        coder = file.streams.video[0].codec_context
        assert (coder.name, coder.pix_fmt) == ("h264", "yuv420p")
        assert (int(coder.colorspace), int(coder.color_primaries), int(coder.color_trc)) == (1, 1, 1)


def test_the_same_frames_give_the_same_file_at_any_time(clip, tmp_path):
    files = []
    for name in ("a.mp4", "b.mp4"):
        save_clip(clip.frames(), tmp_path / name, clip.size, clip.fps)
        files.append((tmp_path / name).read_bytes())
        time.sleep(1.1)  # containers may hold the second at which they were written
    assert files[0] == files[1]


def test_progress_is_told(clip, tmp_path):
    told = []
    save_clip(clip.frames(), tmp_path / "a.mp4", clip.size, clip.fps, told=told.append)
    assert told == [t.seconds for t in clip.times]


def test_an_unwritable_place_leaves_nothing(clip, tmp_path):
    (tmp_path / "folder.mp4").mkdir()
    for out in (tmp_path / "none" / "a.mp4", tmp_path / "folder.mp4", Path("/proc/a.mp4")):
        with pytest.raises(ClipFileError, match=r"could not be written: [a-z ]+$"):
            save_clip(clip.frames(), out, clip.size, clip.fps)
    assert [p.name for p in tmp_path.iterdir()] == ["folder.mp4"]
    with pytest.raises(ClipFileError, match=r"as \.mp4 or \.mov"):
        save_clip(clip.frames(), tmp_path / "a.avi", clip.size, clip.fps)


FULL = """
import resource, sys
from pathlib import Path
from litlamp.cli import run
resource.setrlimit(resource.RLIMIT_FSIZE, (3000, 3000))
sys.exit(run(["draw", "red", sys.argv[1], "--size", "320x180", "--seconds", "1"]))
"""


@pytest.mark.skipif(not hasattr(resource, "RLIMIT_FSIZE"), reason="no limit of file sizes here")
def test_a_disk_that_is_full_is_one_sentence(tmp_path):
    out = tmp_path / "kept.mp4"
    out.write_bytes(b"what was there")
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(out)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "could not be written: file too large" in done.stderr
    assert done.stdout == ""
    assert out.read_bytes() == b"what was there"
    assert [p.name for p in tmp_path.iterdir()] == ["kept.mp4"]
