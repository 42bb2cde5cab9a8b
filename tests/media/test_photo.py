from __future__ import annotations

import io
import struct
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageOps

from litlamp.media.photo import Early, MediaError, read_photo

KINDS = {
    "JPEG": "jpg",
    "PNG": "png",
    "WEBP": "webp",
    "TIFF": "tif",
    "AVIF": "avif",
    "BMP": "bmp",
    "GIF": "gif",
}


def scene(width: int = 96, height: int = 64) -> Image.Image:
    """A picture no turn or mirror maps onto itself: each corner another colour, and a mark."""
    picture = Image.new("RGB", (width, height), (90, 90, 90))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((0, 0, width // 2, height // 2), fill=(200, 30, 30))
    pen.rectangle((width // 2, 0, width, height // 2), fill=(30, 170, 90))
    pen.rectangle((0, height // 2, width // 2, height), fill=(220, 180, 40))
    return picture


def written(picture: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    if kind in {"JPEG", "WEBP", "AVIF", "HEIF"}:
        options.setdefault("quality", 95)
    picture.save(out, kind, **options)
    return out.getvalue()


def far(a: np.ndarray, b: np.ndarray) -> float:
    """Mean absolute difference in codes."""
    return float(np.abs(a.astype(int) - b.astype(int)).mean())


def refusal(source: object, **options: int) -> str:
    with pytest.raises(MediaError) as caught:
        read_photo(source, **options)  # type: ignore[arg-type]
    sentence = caught.value.sentence
    assert "\n" not in sentence
    assert not sentence.endswith(".")
    return sentence


# ---- formats and modes ----


@pytest.mark.parametrize("kind", KINDS)
def test_formats_are_told_by_content_not_ending(kind: str, tmp_path: Path) -> None:
    path = tmp_path / f"signal.{'png' if kind == 'JPEG' else 'jpg'}"
    path.write_bytes(written(scene(), kind))
    frame = read_photo(path)
    assert frame.rgb.dtype == np.uint8
    assert frame.rgb.flags.c_contiguous
    assert frame.size == (96, 64)
    assert frame.time is None
    assert far(frame.rgb, np.asarray(scene())) < 4


@pytest.mark.parametrize(
    ("kind", "mode"),
    [
        *(("JPEG", m) for m in ("L", "CMYK")),
        *(("PNG", m) for m in ("1", "L", "LA", "P", "RGBA")),
        *(("WEBP", m) for m in ("RGBA",)),
        *(("TIFF", m) for m in ("1", "L", "LA", "P", "RGBA", "CMYK", "YCbCr", "LAB")),
        *(("AVIF", m) for m in ("L", "RGBA")),
        *(("BMP", m) for m in ("1", "L", "P")),
        *(("GIF", m) for m in ("1", "L", "P")),
    ],
)
def test_modes(kind: str, mode: str) -> None:
    if mode == "LAB":
        from PIL import ImageCms

        srgb, lab = ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB")
        picture = ImageCms.profileToProfile(scene(), srgb, lab, outputMode="LAB")
        assert picture is not None
    elif mode == "LA":
        picture = scene().convert("L").convert("LA")
    else:
        picture = scene().convert(mode)
    expected = scene() if mode == "LAB" else picture.convert("RGB")
    assert far(read_photo(written(picture, kind)).rgb, np.asarray(expected)) < 4


def test_plain_jpegs_have_pillows_pixels() -> None:
    noisy = Image.fromarray(np.random.default_rng(5).integers(0, 256, (60, 90, 3), dtype=np.uint8))
    picture = noisy.resize((361, 243), Image.Resampling.BICUBIC)
    for options in (
        {},
        {"progressive": True},
        {"subsampling": 0},
        {"quality": 40},
        {"restart_marker_rows": 1},
    ):
        data = written(picture, "JPEG", **options)
        by_pillow = np.asarray(Image.open(io.BytesIO(data)))
        assert np.abs(read_photo(data).rgb.astype(int) - by_pillow).max() <= 2
    grey = written(picture.convert("L"), "JPEG")
    assert (
        np.abs(read_photo(grey).rgb[..., 1].astype(int) - np.asarray(Image.open(io.BytesIO(grey)))).max() <= 2
    )


def _png16(samples: np.ndarray) -> bytes:
    """A 16-bit colour PNG written by hand (PNG, third edition: colour type 2, bit depth 16)."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    height, width, _ = samples.shape
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in samples)
    header = struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


def test_sixteen_bits_are_scaled_not_clipped() -> None:
    ramp = np.linspace(0, 65535, 256).astype(np.uint16)
    expected = np.round(ramp / 257)
    for kind in ("PNG", "TIFF"):
        grey = read_photo(written(Image.fromarray(np.tile(ramp, (4, 1))), kind))
        assert np.abs(grey.rgb[0, :, 0] - expected).max() <= 0.5, kind
        assert "16 bit to 8" in grey.conversions
    colour = read_photo(_png16(np.repeat(np.tile(ramp, (4, 1))[..., None], 3, axis=2)))
    assert np.abs(colour.rgb[0, :, 2] - expected).max() <= 1
    cv2 = pytest.importorskip("cv2")
    ok, tiff = cv2.imencode(".tiff", np.repeat(np.tile(ramp, (4, 1))[..., None], 3, axis=2))
    assert ok
    assert np.abs(read_photo(tiff.tobytes()).rgb[0, :, 1] - expected).max() <= 1


def test_thirty_two_bit_samples_are_refused() -> None:
    assert "32-bit" in refusal(written(Image.new("F", (4, 4)), "TIFF"))


def test_transparency_lies_over_mid_grey() -> None:
    picture = scene().convert("RGBA")
    picture.putalpha(Image.linear_gradient("L").resize(picture.size))
    for kind in ("PNG", "WEBP", "TIFF"):
        options = {"lossless": True, "exact": True} if kind == "WEBP" else {}
        frame = read_photo(written(picture, kind, **options))
        alpha = np.asarray(picture)[..., 3:].astype(float) / 255
        expected = np.asarray(picture)[..., :3] * alpha + 128 * (1 - alpha)
        assert np.abs(frame.rgb - expected).max() <= 1.5
        assert frame.conversions == ("laid over mid grey where transparent",)


@pytest.mark.parametrize("mode", ["P", "L", "RGB"])
def test_a_transparent_palette_entry_or_colour(mode: str) -> None:
    picture = Image.new(mode, (6, 6), 7 if mode != "RGB" else (7, 7, 7))
    if mode == "P":
        picture.putpalette([200, 30, 30] * 256)
    data = written(picture, "PNG", transparency=7 if mode != "RGB" else (7, 7, 7))
    assert (read_photo(data).rgb == 128).all()


def test_alpha_that_hides_nothing_changes_nothing() -> None:
    frame = read_photo(written(scene().convert("RGBA"), "PNG"))
    assert np.array_equal(frame.rgb, np.asarray(scene()))
    assert frame.conversions == ()


# ---- orientation ----


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "AVIF", "HEIF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation(kind: str, orientation: int) -> None:
    if kind == "HEIF":
        pytest.importorskip("pillow_heif").register_heif_opener()
    exif = Image.Exif()
    exif[0x0112] = orientation
    stored = scene(128, 64)
    # Pillow's own transposition of an open file is the reference (Exif 2.32, tag 274).
    tagged = Image.open(io.BytesIO(written(stored, "PNG", exif=exif)))
    upright = np.asarray(ImageOps.exif_transpose(tagged))
    frame = read_photo(written(stored, kind, exif=exif.tobytes() if kind == "HEIF" else exif))
    assert frame.rgb.shape == upright.shape
    assert frame.rgb.flags.c_contiguous
    assert far(frame.rgb, upright) < 4
    if kind != "HEIF":
        assert frame.conversions == (
            (f"turned by EXIF orientation {orientation}",) if orientation > 1 else ()
        )


@pytest.mark.parametrize("compression", ["tiff_lzw", "tiff_deflate", "jpeg"])
def test_an_oriented_compressed_tiff(compression: str) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    frame = read_photo(written(scene(), "TIFF", exif=exif, compression=compression))
    assert far(frame.rgb, np.asarray(scene().transpose(Image.Transpose.ROTATE_270))) < 4


# ---- a large picture reduced by its decoder ----


class _Told(list[tuple[np.ndarray, tuple[int, int]]]):
    """What was told early, in order."""

    def early(self, side: int, *, beside: bool = True) -> Early:
        return Early(lambda reduced, size: self.append((reduced, size)), side, beside)


@pytest.mark.parametrize("orientation", [1, 3, 6])
@pytest.mark.parametrize(
    ("size", "side", "by"), [((2400, 1800), 500, 4), ((2501, 1801), 1000, 2), ((4003, 3000), 500, 8)]
)
def test_a_large_jpeg_is_told_reduced_the_same_whether_beside_the_whole_or_after_it(
    orientation: int, size: tuple[int, int], side: int, by: int, display_p3: bytes
) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = written(scene(*size), "JPEG", exif=exif, icc_profile=display_p3)
    told = _Told()
    first = read_photo(data, early=told.early(side))
    then = read_photo(data, early=told.early(side, beside=False))
    assert np.array_equal(first.rgb, then.rgb)
    (early, whole), (late, again) = told
    assert np.array_equal(early, late)
    assert whole == again == first.size
    height, width = first.rgb.shape[0] // by, first.rgb.shape[1] // by
    assert early.shape == (-(-first.rgb.shape[0] // by), -(-first.rgb.shape[1] // by), 3)
    assert early.flags.c_contiguous
    if orientation != 1:
        return  # turned, blocks cut short by the edge stand first
    by_areas = first.rgb[: by * height, : by * width].reshape(height, by, width, by, 3).mean((1, 3))
    assert far(early[:height, :width], by_areas) < 1.5


def test_nothing_is_told_of_small_pictures_other_formats_and_what_cannot_be_reduced_so_little() -> None:
    told = _Told()
    read_photo(written(scene(), "JPEG"), early=told.early(16))
    read_photo(written(scene(2400, 1800), "PNG"), early=told.early(500))
    read_photo(written(scene(2400, 1800).convert("L"), "JPEG"), early=told.early(500))
    read_photo(written(scene(2400, 1800), "JPEG"), early=told.early(1201))
    assert told == []


@pytest.mark.parametrize("beside", [True, False])
def test_a_large_jpeg_cut_off_is_refused_though_it_was_told_reduced(beside: bool) -> None:
    data = written(scene(2400, 1800), "JPEG")
    with pytest.raises(MediaError, match="damaged or cut off"):
        read_photo(data[: len(data) // 2], early=_Told().early(500, beside=beside))


@pytest.mark.parametrize("beside", [True, False])
def test_what_goes_wrong_with_the_reduced_does_not_cost_the_whole(beside: bool) -> None:
    def fails(reduced: np.ndarray, size: tuple[int, int]) -> None:
        raise ValueError("no")

    data = written(scene(2400, 1800), "JPEG")
    assert np.array_equal(read_photo(data, early=Early(fails, 500, beside)).rgb, read_photo(data).rgb)


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_orientation_that_does_not_exist_is_none(orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    assert read_photo(written(scene(), "JPEG", exif=exif)).size == (96, 64)


def test_damaged_metadata_does_not_cost_the_picture() -> None:
    data = written(scene(), "JPEG", exif=b"Exif\0\0MM\0*\0\0\0\x08\xff\xff" + b"\xee" * 40)
    assert read_photo(data).size == (96, 64)


# ---- colour ----


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "AVIF"])
def test_display_p3_in_every_format(kind: str, display_p3: bytes) -> None:
    colour = pytest.importorskip("colour")  # colour-science, an open reference library
    stored = (60, 200, 140)
    expected = colour.RGB_to_RGB(
        np.array(stored) / 255, "Display P3", "sRGB", apply_cctf_decoding=True, apply_cctf_encoding=True
    )
    frame = read_photo(written(Image.new("RGB", (32, 32), stored), kind, icc_profile=display_p3))
    assert np.abs(frame.rgb[16, 16] - np.clip(np.nan_to_num(expected), 0, 1) * 255).max() <= 4
    assert frame.conversions == ("a wide display to sRGB by ICC profile",)


def test_an_srgb_profile_costs_no_conversion(plain_srgb: bytes) -> None:
    with_it = read_photo(written(scene(), "JPEG", icc_profile=plain_srgb))
    assert with_it.conversions == ()
    assert np.array_equal(with_it.rgb, read_photo(written(scene(), "JPEG")).rgb)


# ---- several pictures in one file ----


def test_of_a_multi_picture_jpeg_the_first_is_read() -> None:
    data = written(scene(), "MPO", save_all=True, append_images=[Image.new("RGB", (96, 64), "blue")])
    frame = read_photo(data)
    assert far(frame.rgb, np.asarray(scene())) < 6
    assert frame.conversions == ("first of 2 pictures in the file",)


def test_of_the_pages_of_a_tiff_the_first_is_read() -> None:
    data = written(scene(), "TIFF", save_all=True, append_images=[Image.new("RGB", (9, 9))])
    assert np.array_equal(read_photo(data).rgb, np.asarray(scene()))


@pytest.mark.parametrize("kind", ["GIF", "PNG", "WEBP", "AVIF"])
def test_what_moves_is_a_clip(kind: str) -> None:
    data = written(scene(), kind, save_all=True, append_images=[Image.new("RGB", (96, 64), "blue")])
    assert "not a photograph" in refusal(data)


def test_a_tiff_that_begins_with_a_preview_is_refused() -> None:
    assert "preview" in refusal(written(scene(), "TIFF", tiffinfo={254: 1}))


# ---- size ----


def test_the_pixel_limit_is_exact() -> None:
    for kind in KINDS:
        data = written(scene(), kind)
        assert read_photo(data, pixel_limit=96 * 64).size == (96, 64)
        assert "96 x 64" in refusal(data, pixel_limit=96 * 64 - 1)


def test_a_bomb_is_refused_from_its_header(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("decoded")

    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", never)
    monkeypatch.setattr("cv2.imdecode", never)
    data = bytearray(_png16(np.zeros((4, 4, 3))))
    data[16:24] = struct.pack(">II", 60000, 60000)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    assert "60000 x 60000" in refusal(bytes(data))
    jpeg = bytearray(written(scene(), "JPEG"))
    at = jpeg.index(b"\xff\xc0") + 5
    jpeg[at : at + 4] = struct.pack(">HH", 65000, 65000)
    assert "65000 x 65000" in refusal(bytes(jpeg))


def test_pillows_own_limit_does_not_lower_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 100)
    assert read_photo(written(scene(), "PNG")).size == (96, 64)


def test_one_pixel() -> None:
    for kind in KINDS:
        assert read_photo(written(Image.new("RGB", (1, 1), "red"), kind)).size == (1, 1)


# ---- damage ----


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("share", [0.2, 0.6, 0.95])
def test_a_cut_off_file_is_refused(kind: str, share: float) -> None:
    noise = np.random.default_rng(1).integers(0, 256, (64, 96, 3), dtype=np.uint8)
    data = written(Image.fromarray(noise), kind)
    sentence = refusal(data[: int(len(data) * share)])
    assert "damaged or cut off" in sentence


@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
def test_a_jpeg_cut_off_and_closed_again_is_refused(mode: str, capfd: pytest.CaptureFixture[str]) -> None:
    # libjpeg fills the rest with grey and warns on standard error only; that warning must not be lost.
    data = written(Image.linear_gradient("L").convert(mode), "JPEG")
    assert "damaged" in refusal(data[: int(len(data) * 0.7)] + b"\xff\xd9")
    assert capfd.readouterr().err == ""


def test_a_damaged_fax_tiff_is_refused(capfd: pytest.CaptureFixture[str]) -> None:
    rough = Image.fromarray(np.random.default_rng(4).integers(0, 256, (120, 160), dtype=np.uint8)).convert(
        "1"
    )
    data = bytearray(written(rough, "TIFF", compression="group4"))
    at = len(data) // 2
    data[at : at + 40] = bytes(range(200, 240))
    assert "damaged" in refusal(bytes(data))
    assert capfd.readouterr().err == ""


def test_words_name_the_source_once(tmp_path: Path) -> None:
    path = tmp_path / "cut.jpg"
    path.write_bytes(written(scene(), "JPEG")[:400])
    with pytest.raises(MediaError) as caught:
        read_photo(path)
    assert str(caught.value) == f"{path}: this JPEG file is damaged or cut off"


def test_heic_without_the_extra_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    assert "litlamp[heif]" in refusal(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(99))


# ---- real pictures ----


@pytest.mark.real
def test_real_photographs_have_pillows_pixels(real: Path) -> None:
    for folder in ("cab", "layout", "stills", "negatives"):
        paths = sorted((real / folder).glob("*.jpg"))[:3]
        assert paths, folder
        for path in paths:
            by_pillow = ImageOps.exif_transpose(Image.open(path)).convert("RGB")
            frame = read_photo(path)
            if not any("ICC" in note for note in frame.conversions):
                assert np.abs(frame.rgb.astype(int) - np.asarray(by_pillow)).max() <= 2
