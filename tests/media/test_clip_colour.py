"""The colours of clips against colour-science, PyAV's own conversion and the published curves."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from litlamp.media import transfer
from litlamp.media.clip import ClipFrame, open_clip

av = pytest.importorskip("av")
colour = pytest.importorskip("colour")

Writer = Callable[..., Path]

# Code points of ITU-T H.273 and the names that colour-science gives the same luma weights.
MATRICES = {1: "ITU-R BT.709", 5: "ITU-R BT.601", 6: "ITU-R BT.601", 9: "ITU-R BT.2020"}

PATCH = 16  # px; chroma of a patch is flat well inside it


def patches() -> np.ndarray:
    """72 colours as R'G'B' in 0 to 1, shape (6, 12, 3): greys, lamps, and colours at random."""
    dice = np.random.default_rng(8)
    rgb = dice.uniform(0.02, 0.98, (72, 3))
    rgb[:8] = np.linspace(0, 1, 8)[:, None]
    rgb[8:14] = [[1, 0, 0], [1, 0.75, 0], [0, 1, 0], [0, 0, 1], [0, 0.9, 0.8], [0.8, 0.9, 1]]
    return rgb.reshape(6, 12, 3)


def planes_of(
    rgb: np.ndarray, weights: str, bits: int, full: bool, shape: tuple[int, int]
) -> list[np.ndarray]:
    """Planes in the codes of ITU-R BT.601, BT.709 and BT.2020 by colour-science's RGB_to_YCbCr."""
    codes = colour.RGB_to_YCbCr(
        rgb, K=colour.WEIGHTS_YCBCR[weights], in_bits=bits, out_bits=bits, out_legal=not full, out_int=True
    )
    codes = np.clip(codes, 0, 2**bits - 1).astype(np.uint8 if bits == 8 else np.uint16)
    large = codes.repeat(PATCH, 0).repeat(PATCH, 1)
    down, across = shape
    return [large[..., 0], large[::down, ::across, 1], large[::down, ::across, 2]]


def middles(rgb: np.ndarray) -> np.ndarray:
    return rgb[PATCH // 2 :: PATCH, PATCH // 2 :: PATCH].astype(int)


def first_frame(path: Path) -> ClipFrame:
    with open_clip(path) as clip:
        return next(clip)


FORMATS = [
    ("libx264", "yuv444p", 8, (1, 1)),
    ("libx264", "yuv420p", 8, (2, 2)),
    ("libx264", "yuv422p10le", 10, (1, 2)),
    ("libx264", "yuv420p10le", 10, (2, 2)),
    ("ffv1", "yuv420p12le", 12, (2, 2)),
    ("ffv1", "yuv411p", 8, (1, 4)),
]


@pytest.mark.parametrize(("codec", "pix_fmt", "bits", "shape"), FORMATS)
@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("matrix", [1, 6, 9])
def test_matrix_and_range_by_tag(
    matrix: int,
    full: bool,
    codec: str,
    pix_fmt: str,
    bits: int,
    shape: tuple[int, int],
    write_clip: Writer,
    tmp_path: Path,
) -> None:
    rgb = patches()
    planes = planes_of(rgb, MATRICES[matrix], bits, full, shape)
    made = write_clip(tmp_path / "a.mkv", [planes], codec=codec, pix_fmt=pix_fmt, matrix=matrix, full=full)
    frame = first_frame(made)
    # Two codes: luma and chroma were each rounded to a code on the way in.
    assert np.abs(middles(frame.rgb()) - rgb * 255).max() <= 2.6
    assert f"{MATRICES[matrix][6:]} by its tag" in frame.conversions
    assert ("full range" in frame.conversions) == full
    assert frame.luma_span == ((0, 255) if full else (16, 235))
    # Luma keeps the stream's codes, to 8 bits.
    assert np.array_equal(frame.luma, planes[0] >> (bits - 8))


@pytest.mark.parametrize(
    ("size", "weights"),
    [
        ((640, 480), "ITU-R BT.601"),
        ((720, 576), "ITU-R BT.601"),
        ((1280, 720), "ITU-R BT.709"),
        ((720, 1280), "ITU-R BT.709"),
        ((1920, 1080), "ITU-R BT.709"),
    ],
)
def test_untagged_by_size(size: tuple[int, int], weights: str, write_clip: Writer, tmp_path: Path) -> None:
    # Common practice of players, no source: high definition is BT.709, smaller pictures BT.601.
    rgb = patches()
    small = planes_of(rgb, weights, 8, False, (1, 1))
    width, height = size
    planes = [
        np.resize(np.tile(p, (height // 96 + 1, width // 192 + 1))[:height, :width], (height, width))
        for p in small
    ]
    made = write_clip(
        tmp_path / "a.mkv", [planes], pix_fmt="yuv444p", options={"preset": "ultrafast", "qp": "0"}
    )
    frame = first_frame(made)
    assert np.abs(middles(frame.rgb()[:96, :192]) - rgb * 255).max() <= 2.6
    assert frame.conversions == (f"taken as {weights[6:]} (no tag)",)


@pytest.mark.parametrize("matrix", [1, 6])
@pytest.mark.parametrize("full", [False, True])
def test_like_the_conversion_of_pyav(matrix: int, full: bool, write_clip: Writer, tmp_path: Path) -> None:
    """A smooth picture in 4:2:0 against FFmpeg's scaler, which was told the coding by name."""
    ys, xs = np.mgrid[0:120, 0:160]
    y = 120 + 60 * np.sin(xs / 17) * np.cos(ys / 23)
    cb, cr = 128 + 40 * np.sin(xs / 29 + ys / 31), 128 + 50 * np.cos(xs / 37 - ys / 19)
    planes = [np.round(p).astype(np.uint8) for p in (y, cb[::2, ::2], cr[::2, ::2])]
    made = write_clip(tmp_path / "a.mkv", [planes], matrix=matrix, full=full)
    frame = first_frame(made)
    with av.open(str(made)) as container:
        decoded = next(container.decode(video=0))
    told = {"src_colorspace": "itu709" if matrix == 1 else "itu601", "src_color_range": 2 if full else 1}
    theirs = decoded.reformat(format="rgb24", dst_color_range=2, **told).to_ndarray().astype(int)
    ours = frame.rgb().astype(int)
    # FFmpeg's fast way repeats each chroma sample, where ours interpolates, and cuts where ours rounds: alike
    # to the code and a half on the whole, and far nearer than with the other matrix.
    assert np.abs((ours - theirs).mean(axis=(0, 1))).max() < 1.5
    assert np.abs(ours - theirs).mean() < 2.0
    told["src_colorspace"] = "itu601" if matrix == 1 else "itu709"
    wrong = decoded.reformat(format="rgb24", dst_color_range=2, **told).to_ndarray().astype(int)
    assert np.abs(ours - wrong).mean() > 2 * np.abs(ours - theirs).mean()


def test_chroma_lies_level_with_the_left_luma_sample(write_clip: Writer, tmp_path: Path) -> None:
    """ITU-T H.264, figure 6-1: 4:2:0 chroma is level with even luma columns and midway between rows."""
    ramp = np.arange(40, dtype=float) * 4 + 50  # Cr, rising by 4 a chroma sample
    planes = [
        np.full((48, 80), 120, np.uint8),
        np.full((24, 40), 128, np.uint8),
        np.tile(ramp, (24, 1)).astype(np.uint8),
    ]
    frame = first_frame(write_clip(tmp_path / "a.mkv", [planes], matrix=1))
    red = frame.rgb()[20, 4:76, 0].astype(float)
    at_luma = np.interp(np.arange(4, 76), np.arange(40) * 2, ramp)
    expected = 255 * ((120 - 16) / 219 + 1.5748 * (at_luma - 128) / 224)  # BT.709-6, 3.2 and 3.4
    inside = (expected > 0) & (expected < 255)
    assert np.abs(red - expected)[inside].max() <= 2.2


# -- high dynamic range ------------------------------------------------------------------------------------


def test_curves_are_those_of_bt2100() -> None:
    """ITU-R BT.2100-2 tables 4 and 5 as colour-science has them."""
    code = np.linspace(0, 1, 501)
    ours = transfer.hlg_scene_light(code)
    assert ours == pytest.approx(colour.models.oetf_inverse_BT2100_HLG(code), abs=1e-6)
    assert transfer.pq_display_light(code) == pytest.approx(
        colour.models.eotf_ST2084(code), rel=1e-6, abs=1e-6
    )


@pytest.mark.parametrize(("name", "space"), [("bt2020", "ITU-R BT.2020"), ("p3", "Display P3")])
def test_primaries_are_those_of_the_standards(name: transfer.Primaries, space: str) -> None:
    spaces = colour.RGB_COLOURSPACES
    expected = colour.matrix_RGB_to_RGB(
        spaces[space], spaces["ITU-R BT.709"], chromatic_adaptation_transform=None
    )
    assert transfer._TO_BT709[name] == pytest.approx(expected, abs=2e-4)


def reference_light(rgb: np.ndarray, curve: str) -> np.ndarray:
    """Display light of R'G'B' (BT.2020) as linear BT.709 relative to reference white, by colour-science."""
    if curve == "hlg":
        light = colour.models.eotf_BT2100_HLG(rgb, L_W=1000.0)
    else:
        light = colour.models.eotf_ST2084(rgb)
    spaces = colour.RGB_COLOURSPACES
    to_709 = colour.matrix_RGB_to_RGB(
        spaces["ITU-R BT.2020"], spaces["ITU-R BT.709"], chromatic_adaptation_transform=None
    )
    return np.maximum(light / 203.0 @ to_709.T, 0)


@pytest.mark.parametrize("curve", ["hlg", "pq"])
def test_high_dynamic_range_below_the_knee_is_display_light(curve: transfer.Curve) -> None:
    dice = np.random.default_rng(2)
    rgb = dice.uniform(0, 0.75, (4000, 1, 3))
    light = reference_light(rgb, curve)
    low = light.max(axis=-1) < 0.48
    assert low.sum() > 200
    expected = colour.models.eotf_inverse_sRGB(np.clip(light, 0, 1)) * 255
    got = transfer.to_srgb(np.round(rgb * 65535).astype(np.uint16), curve, "bt2020").astype(float)
    assert np.abs(got - expected)[low].max() <= 1.5


@pytest.mark.parametrize("curve", ["hlg", "pq"])
def test_bright_lamps_keep_their_hue(curve: transfer.Curve) -> None:
    """However bright, the ratio of the linear channels stays, so a red lamp does not turn yellow."""
    dice = np.random.default_rng(4)
    rgb = dice.uniform(0, 1.0 if curve == "hlg" else 0.75, (4000, 1, 3))  # PQ of 0.75 is 1000 cd/m2
    light = reference_light(rgb, curve)
    got = transfer.to_srgb(np.round(rgb * 65535).astype(np.uint16), curve, "bt2020")
    back = colour.models.eotf_sRGB(got / 255)
    brightest = light.max(axis=-1)
    bright = (brightest > 0.6) & (brightest < 4.9)
    ratio = light / brightest[..., None]
    shown = back / back.max(axis=-1)[..., None]
    assert bright.sum() > 200
    assert np.abs(ratio - shown)[bright].max() < 0.02
    # Brighter is shown no darker.
    order = np.argsort(brightest[:, 0])
    assert np.diff(got.max(axis=-1)[order, 0].astype(int)).min() >= -1


@pytest.mark.parametrize(("curve", "name"), [(18, "HLG"), (16, "PQ")])
def test_a_clip_of_high_dynamic_range(curve: int, name: str, write_clip: Writer, tmp_path: Path) -> None:
    rgb = patches() * 0.55
    planes = planes_of(rgb, "ITU-R BT.2020", 10, False, (2, 2))
    made = write_clip(
        tmp_path / "a.mp4",
        [planes],
        codec="libx264",
        pix_fmt="yuv420p10le",
        matrix=9,
        curve=curve,
        primaries=9,
    )
    frame = first_frame(made)
    assert frame.conversions == ("BT.2020 by its tag", f"{name} tone-mapped to sRGB")
    light = reference_light(rgb, name.lower())
    expected = colour.models.eotf_inverse_sRGB(np.clip(light, 0, 1)) * 255
    low = light.max(axis=-1) < 0.45
    assert low.sum() > 20
    # Near black one code of 10 bits is several of sRGB's: by the mean, and by the worst.
    error = np.abs(middles(frame.rgb()) - expected)[low]
    assert error.mean() < 1.0
    assert error.max() <= 6


def test_rgb_codecs(write_clip: Writer, tmp_path: Path) -> None:
    bgr0 = np.random.default_rng(0).integers(0, 256, (64, 96, 4), dtype=np.uint8)
    made = write_clip(tmp_path / "a.mkv", [[bgr0.view(np.uint32)[..., 0]]], codec="ffv1", pix_fmt="bgr0")
    frame = first_frame(made)
    assert np.array_equal(frame.rgb(), bgr0[..., 2::-1])
    assert frame.chroma is None
    assert frame.luma_span == (0, 255)
    planes = [np.ascontiguousarray(bgr0[..., channel]) for channel in (1, 0, 2)]  # G, B, R
    made = write_clip(
        tmp_path / "b.webm", [planes], codec="libvpx-vp9", pix_fmt="gbrp", matrix=0, options={"lossless": "1"}
    )
    assert np.array_equal(first_frame(made).rgb(), bgr0[..., 2::-1])


def test_grey(write_clip: Writer, tmp_path: Path) -> None:
    ramp = np.tile(np.arange(16, 236, dtype=np.uint8), (16, 1))
    frame = first_frame(write_clip(tmp_path / "a.mkv", [[ramp]], codec="ffv1", pix_fmt="gray"))
    expected = np.linspace(0, 255, 220)
    assert np.abs(frame.rgb()[0] - expected[:, None]).max() <= 1.5
    assert frame.chroma is None
