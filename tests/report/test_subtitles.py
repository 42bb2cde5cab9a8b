from __future__ import annotations

import re
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from litlamp.aspects.cautions import SHORT
from litlamp.report.subtitles import (
    Chapter,
    Cue,
    chapters,
    cues,
    ffmetadata,
    subrip,
    subrip_time,
    webvtt,
    webvtt_chapters,
    webvtt_time,
)

MOMENTS = st.floats(0, 360_000, allow_nan=False)


@given(MOMENTS)
def test_a_moment_comes_back_to_the_millisecond(seconds: float) -> None:
    for text, point in ((webvtt_time(seconds), "."), (subrip_time(seconds), ",")):
        found = re.fullmatch(rf"(\d\d+):([0-5]\d):([0-5]\d)\{point}(\d{{3}})", text)
        assert found is not None
        h, m, s, ms = map(int, found.groups())
        assert abs(3600 * h + 60 * m + s + ms / 1000 - seconds) <= 0.0005 + 1e-9


@given(MOMENTS, MOMENTS)
def test_moments_written_keep_their_order(a: float, b: float) -> None:
    first, then = sorted((a, b))
    assert (len(webvtt_time(first)), webvtt_time(first)) <= (len(webvtt_time(then)), webvtt_time(then))


def test_known_moments() -> None:
    assert webvtt_time(59.9996) == "00:01:00.000"
    assert subrip_time(3725.25) == "01:02:05,250"
    assert webvtt_time(-1) == "00:00:00.000"


def test_a_guarded_reading_leads_and_the_caution_is_in_every_cue(ride_by_hand, by_hand) -> None:
    ride = ride_by_hand(said=[by_hand.guarded(), by_hand.nothing()])
    shown = cues(ride.record)
    assert all(cue.lines[-1] == SHORT for cue in shown)
    assert shown[0].lines == (SHORT,)
    assert "Signal 1: guarded: Stop, Rule 439 (likeliest Restricting, Rule 436: 83 %)" in shown[1].lines
    assert any("Signal 2: no reading" in cue.lines for cue in shown)


spans = st.lists(
    st.tuples(st.floats(0, 60), st.floats(0.01, 30)).map(lambda s: (round(s[0], 3), round(s[0] + s[1], 3))),
    max_size=6,
)


@given(spans)
def test_cues_are_in_order_never_overlap_and_each_signal_is_shown(ride_by_hand, spans) -> None:
    ride = ride_by_hand(spans, length=100.0)
    shown = cues(ride.record)
    assert all(cue.from_s < cue.to_s for cue in shown)
    assert all(a.to_s <= b.from_s for a, b in pairwise(shown))
    for signal in ride.record.signals:
        if signal.span_s[1] - signal.span_s[0] > 1.0:
            assert any(f"Signal {signal.footage.number}: " in line for cue in shown for line in cue.lines)
    # Nothing is told of a signal before it could be known.
    for cue in shown:
        for line in cue.lines[:-1]:
            number = int(re.match(r"Signal (\d+)", line).group(1))
            assert cue.from_s >= ride.record.signals[number - 1].footage.known[0].at_s - 1e-9


@given(spans)
@example([(0.031, 1.031)])
def test_chapters_follow_on_each_other_from_the_beginning(ride_by_hand, spans) -> None:
    parts = chapters(ride_by_hand(spans, length=100.0).record)
    assert parts[0].from_s == 0
    assert all(a.to_s == b.from_s or b.from_s - a.to_s < 0.001 for a, b in pairwise(parts))
    assert parts[-1].to_s == 100.0


def test_marks_of_the_formats_are_escaped() -> None:
    text = webvtt([Cue(0, 1, ("a <b> --> & c",))])
    assert text.startswith("WEBVTT\n\nNOTE\n")
    assert text.count("-->") == 1
    assert "a &lt;b&gt; --&gt; &amp; c" in text
    assert "&" not in webvtt_chapters([Chapter(0, 1, "x & y")]).replace("&amp;", "")
    assert r"title=a\=b\;c\#d\\" in ffmetadata([Chapter(0, 1.5, "a=b;c#d\\")], "t")
    assert "END=1500" in ffmetadata([Chapter(0, 1.5, "x")], "t")


def test_subrip_has_the_form_that_players_read(ride_by_hand) -> None:
    blocks = subrip(cues(ride_by_hand().record)).strip().split("\n\n")
    for number, block in enumerate(blocks, 1):
        first, times, *lines = block.split("\n")
        assert first == str(number)
        assert re.fullmatch(r"\d\d:\d\d:\d\d,\d{3} --> \d\d:\d\d:\d\d,\d{3}", times)
        assert lines


def test_other_readers_take_them(ride_by_hand, tmp_path) -> None:
    """By FFmpeg's own demuxers, which PyAV brings."""
    av = pytest.importorskip("av")
    of = cues(ride_by_hand().record)
    for name, text in (("a.vtt", webvtt(of)), ("a.srt", subrip(of))):
        (tmp_path / name).write_text(text, "utf-8")
        with av.open(str(tmp_path / name)) as file:
            stream = file.streams[0]
            starts = [float(p.pts * stream.time_base) for p in file.demux(stream) if p.size]
        assert starts == pytest.approx([round(cue.from_s, 3) for cue in of])
