"""A picture comes in as its pixels and nothing else."""

import io
import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageChops, ImageCms, ImageStat, TiffImagePlugin
from PIL.PngImagePlugin import PngInfo

from spinproof.evidence.carried import SCAN_LIMIT, carried_parts
from spinproof.evidence.pictures import PIXEL_LIMIT, clean_picture
from spinproof.evidence.sniffing import FileType
from spinproof.model.errors import EvidenceError

CANARY = "badefugeruta"
BASE, GPS = ExifTags.Base, ExifTags.GPS


def scene(mode="RGB", size=(24, 16)):
    """Give a picture with a red corner at the top left and a blue one opposite."""
    image = Image.new("RGB", size, "white")
    image.paste("red", (0, 0, 12, 8))
    image.paste("blue", (12, 8, 24, 16))
    return image.convert(mode)


def full_exif(orientation=1):
    exif = Image.Exif()
    exif[BASE.Make] = f"{CANARY} works"
    exif[BASE.Artist] = CANARY
    exif[BASE.ImageDescription] = CANARY
    exif[BASE.Orientation] = orientation
    exif[BASE.XPComment] = CANARY.encode("utf-16-le")
    gps, details = exif.get_ifd(ExifTags.IFD.GPSInfo), exif.get_ifd(ExifTags.IFD.Exif)
    gps[GPS.GPSLatitudeRef], gps[GPS.GPSLatitude] = "N", (51.0, 30.0, 0.0)
    details[BASE.DateTimeOriginal] = "2031:05:06 09:08:07"
    details[BASE.OffsetTimeOriginal] = "+02:00"
    details[BASE.UserComment] = b"UNICODE\0" + CANARY.encode("utf-16-be")
    return exif


def saved(image, kind, **settings):
    file = io.BytesIO()
    image.save(file, kind, **settings)
    return file.getvalue()


def full_jpeg(orientation=1):
    """Give a JPEG that carries everything that a camera and an editor put there."""
    data = saved(
        scene(),
        "JPEG",
        exif=full_exif(orientation),
        xmp=f"<x:xmpmeta>{CANARY}</x:xmpmeta>".encode(),
        comment=CANARY,
        quality=95,
    )
    thumbnail = saved(scene(size=(8, 8)), "JPEG")
    press = b"\xff\xed" + struct.pack(">H", 2 + len(CANARY)) + CANARY.encode()
    return data[:2] + press + data[2:] + thumbnail + CANARY.encode()


def full_png():
    info = PngInfo()
    info.add_text("Author", CANARY)
    info.add_text("Comment", CANARY * 50, zip=True)
    info.add_itxt("XML:com.adobe.xmp", f"<x:xmpmeta>{CANARY}</x:xmpmeta>", zip=True)
    data = saved(scene(), "PNG", pnginfo=info, exif=full_exif(), dpi=(300, 300))
    return data + CANARY.encode()


def full_webp():
    return saved(scene(), "WEBP", exif=full_exif(), xmp=CANARY.encode()) + CANARY.encode()


def full_tiff():
    info = TiffImagePlugin.ImageFileDirectory_v2()
    info[270], info[315], info[700] = CANARY, CANARY, CANARY.encode()
    frames = [scene(size=(8, 8))]
    return saved(scene(), "TIFF", tiffinfo=info, save_all=True, append_images=frames)


FULL = {
    FileType.JPEG: full_jpeg(),
    FileType.PNG: full_png(),
    FileType.WEBP: full_webp(),
    FileType.TIFF: full_tiff(),
}


def carries_nothing(data):
    """Look another way: the library finds no more than size and mode, the bytes no canary."""
    image = Image.open(io.BytesIO(data))
    allowed = {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
    inflated = b"".join(
        zlib.decompressobj().decompress(data[at:])
        for at in range(len(data))
        if data[at : at + 2] == b"\x78\x9c"
    )
    found = data + inflated
    return (
        not image.getexif()
        and set(image.info) <= allowed
        and CANARY.encode() not in found
        and CANARY.encode("utf-16-le") not in found
        and CANARY.encode("utf-16-be") not in found
    )


@pytest.mark.parametrize("kind", FULL)
def test_nothing_but_pixels_survives(kind):
    clean = clean_picture(FULL[kind], kind, "photo")

    assert not carries_nothing(FULL[kind])
    assert carries_nothing(clean.data)
    assert carried_parts(clean.data, clean.type, "photo") == ()
    assert (clean.width, clean.height) == (24, 16)


def test_what_was_removed_is_told():
    told = {kind: set(clean_picture(FULL[kind], kind, "photo").removed) for kind in FULL}
    camera = {"location", "device", "author", "comments", "time of capture"}

    assert told[FileType.JPEG] >= camera | {"Exif or XMP data", "press data", "a comment"}
    assert any("bytes after the end" in what for what in told[FileType.JPEG])
    assert told[FileType.PNG] >= camera | {"text", "Exif or XMP data", "12 bytes after the end"}
    assert told[FileType.WEBP] >= camera | {"Exif or XMP data", "12 bytes after the end"}
    assert told[FileType.TIFF] >= {"author", "comments", "further pictures", "tag XMP"}


def test_the_thumbnail_of_an_uncropped_picture_is_told_and_gone():
    thumbnail = saved(scene(size=(160, 120)), "JPEG", comment=CANARY)
    entries = struct.pack("<HHHIIHHIII", 2, 0x0201, 4, 1, 38, 0x0202, 4, 1, len(thumbnail), 0)
    tiff = b"II*\0" + struct.pack("<IHI", 8, 0, 14) + entries[:-4] + bytes(4) + thumbnail
    exif = b"Exif\0\0" + tiff.replace(struct.pack("<I", 38), struct.pack("<I", 14 + 30), 1)
    data = saved(scene(), "JPEG")
    segment = b"\xff\xe1" + struct.pack(">H", 2 + len(exif)) + exif
    clean = clean_picture(data[:2] + segment + data[2:], FileType.JPEG, "photo")

    assert "a thumbnail" in clean.removed
    assert carries_nothing(clean.data)


def test_the_time_of_capture_is_kept_as_the_device_stated_it():
    assert clean_picture(full_jpeg(), FileType.JPEG, "x").captured == "2031-05-06T09:08:07+02:00"
    assert clean_picture(saved(scene(), "PNG"), FileType.PNG, "x").captured is None


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_picture_is_turned_upright_before_its_orientation_is_dropped(orientation):
    turned = {
        1: None,
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_270,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_90,
    }[orientation]
    expected = scene() if turned is None else scene().transpose(turned)
    clean = clean_picture(full_jpeg(orientation), FileType.JPEG, "photo")
    found = Image.open(io.BytesIO(clean.data))
    right, bottom = expected.width - 1, expected.height - 1

    assert (clean.width, clean.height) == expected.size
    for corner in ((0, 0), (right, 0), (0, bottom), (right, bottom)):
        assert found.getpixel(corner) == pytest.approx(expected.getpixel(corner), abs=12)


def test_lossless_pictures_keep_every_pixel():
    clean = clean_picture(saved(scene(), "PNG"), FileType.PNG, "photo")

    assert clean.type is FileType.PNG
    assert Image.open(io.BytesIO(clean.data)).tobytes() == scene().tobytes()


def test_what_hides_under_transparent_pixels_is_covered_with_white():
    layer = scene("RGBA")
    layer.putalpha(0)
    clean = Image.open(io.BytesIO(clean_picture(saved(layer, "PNG"), FileType.PNG, "x").data))

    assert clean.mode == "RGB"
    assert clean.getcolors() == [(24 * 16, (255, 255, 255))]


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16"])
def test_every_way_of_storing_colours_is_taken(mode):
    picture = Image.new(mode, (24, 16)) if mode == "I;16" else scene(mode)
    clean = clean_picture(saved(picture, "TIFF"), FileType.TIFF, "photo")

    assert Image.open(io.BytesIO(clean.data)).mode in {"1", "L", "RGB", "I;16"}


def test_colours_are_right_without_their_profile():
    """Lab is turned to sRGB by the profile of the picture, which is then dropped."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = saved(scene(), "PNG", icc_profile=profile)
    clean = Image.open(io.BytesIO(clean_picture(data, FileType.PNG, "x").data))
    damaged = clean_picture(saved(scene(), "PNG", icc_profile=b"x" * 200), FileType.PNG, "x")

    assert "icc_profile" not in clean.info
    assert max(ImageStat.Stat(ImageChops.difference(clean, scene())).mean) < 1
    assert Image.open(io.BytesIO(damaged.data)).tobytes() == scene().tobytes()


def test_colours_of_another_profile_are_brought_to_srgb():
    """A profile whose red is sRGB's blue, and the other way round."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    swapped = profile.replace(b"rXYZ", b"tmp.").replace(b"bXYZ", b"rXYZ").replace(b"tmp.", b"bXYZ")
    data = saved(scene(), "PNG", icc_profile=swapped)
    clean = Image.open(io.BytesIO(clean_picture(data, FileType.PNG, "x").data))

    assert clean.getpixel((0, 0)) == pytest.approx((0, 0, 255), abs=3)
    assert clean.getpixel((23, 15)) == pytest.approx((255, 0, 0), abs=3)


def test_two_bytes_in_the_header_of_a_jpeg_are_told():
    data = bytearray(saved(scene(), "JPEG"))
    data[data.index(b"JFIF") + 12] = 7

    assert carried_parts(bytes(data), FileType.JPEG, "x") == ("data of the camera (APP0)",)


@pytest.mark.parametrize("mode", ["F", "I"])
def test_measured_values_are_no_picture(mode):
    with pytest.raises(EvidenceError, match="measured values of 32 bits"):
        clean_picture(saved(Image.new(mode, (4, 4)), "TIFF"), FileType.TIFF, "x")


def png_bomb(width, height):
    """Give a PNG of one colour: small on disk, large in memory."""

    def chunk(kind, content):
        sum_ = struct.pack(">I", zlib.crc32(kind + content))
        return struct.pack(">I", len(content)) + kind + content + sum_

    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    rows = zlib.compress(bytes((width + 7) // 8 + 1) * height, 9)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")
    )


def test_a_picture_bomb_is_refused_before_it_is_decoded():
    bomb = png_bomb(20_000, 20_000)

    assert len(bomb) < 60_000
    with pytest.raises(EvidenceError, match="more than 50 million pixels") as caught:
        clean_picture(bomb, FileType.PNG, "bomb.png")
    assert caught.value.where == "bomb.png"
    with pytest.raises(Image.DecompressionBombError):
        Image.open(io.BytesIO(png_bomb(8000, 8000)))


def test_the_limit_of_pixels_holds_for_every_type():
    side = 16_000
    jpeg = bytearray(saved(Image.new("L", (16, 16)), "JPEG"))
    at = jpeg.index(b"\xff\xc0") + 5
    jpeg[at : at + 4] = struct.pack(">HH", side, side)
    webp = bytearray(saved(Image.new("RGB", (16, 16)), "WEBP", exif=full_exif()))
    at = webp.index(b"VP8X") + 12
    webp[at : at + 6] = (side - 1).to_bytes(3, "little") * 2
    tiff = saved(Image.new("L", (16, 16)), "TIFF")
    tiff = tiff.replace(struct.pack("<HHII", 256, 4, 1, 16), struct.pack("<HHII", 256, 4, 1, side))
    tiff = tiff.replace(struct.pack("<HHII", 257, 4, 1, 16), struct.pack("<HHII", 257, 4, 1, side))

    assert side * side > PIXEL_LIMIT
    for kind, data in {
        FileType.JPEG: bytes(jpeg),
        FileType.WEBP: bytes(webp),
        FileType.TIFF: tiff,
    }.items():
        with pytest.raises(EvidenceError, match="more than 50 million pixels"):
            clean_picture(data, kind, "bomb")


def test_a_text_bomb_in_a_png_is_refused():
    info = PngInfo()
    info.add_text("Comment", " " * 3_000_000, zip=True)

    with pytest.raises(EvidenceError, match="cannot be decoded"):
        clean_picture(saved(scene(), "PNG", pnginfo=info), FileType.PNG, "x")


def test_a_jpeg_of_very_many_scans_is_refused():
    data = saved(scene(), "JPEG", progressive=True)
    at = data.rindex(b"\xff\xda")
    bent = data[:at] + data[at:-2] * (SCAN_LIMIT + 1) + b"\xff\xd9"

    with pytest.raises(EvidenceError, match="its structure is broken"):
        clean_picture(bent, FileType.JPEG, "x")


@pytest.mark.parametrize("kind", FULL)
def test_a_file_that_only_begins_as_a_picture_is_refused(kind):
    with pytest.raises(EvidenceError, match=r"begins as a \w+ picture, but") as caught:
        clean_picture(FULL[kind][:12] + b"no picture at all" * 9, kind, "x.jpg")

    assert caught.value.where == "x.jpg"


def test_a_picture_cut_off_in_the_middle_is_refused():
    data = saved(Image.effect_noise((200, 200), 60), "PNG")

    with pytest.raises(EvidenceError, match=r"structure is broken|cannot be decoded"):
        clean_picture(data[: len(data) // 2], FileType.PNG, "x.png")


@given(kind=st.sampled_from(list(FULL)), at=st.integers(0, 4000), value=st.integers(0, 255))
def test_a_bent_byte_gives_a_clean_picture_or_a_clear_refusal(kind, at, value):
    data = bytearray(FULL[kind])
    data[at % len(data)] = value
    try:
        clean = clean_picture(bytes(data), kind, "photo")
    except EvidenceError as error:
        assert "photo" in str(error)  # noqa: PT017 - either outcome is right
    else:
        assert carried_parts(clean.data, clean.type, "photo") == ()


def test_the_same_picture_gives_the_same_bytes():
    assert clean_picture(full_jpeg(), FileType.JPEG, "a") == clean_picture(
        full_jpeg(), FileType.JPEG, "b"
    )
