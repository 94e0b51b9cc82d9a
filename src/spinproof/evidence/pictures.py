"""Pictures without what they should not tell: decoded to pixels, turned upright, written anew.

Location, device, author, comments, thumbnails, hidden layers and bytes after the end do not
survive, since nothing but the pixels is carried over; that nothing else is in the new file is
checked in its structure. What can be *seen* in a picture no program clears: a person looks.
"""

import io
import re
import warnings
from dataclasses import dataclass

from PIL import ExifTags, Image, ImageCms, ImageOps, TiffTags
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from PIL.WebPImagePlugin import WebPImageFile

from spinproof.evidence.carried import carried_parts
from spinproof.evidence.sniffing import FileType
from spinproof.model.errors import EvidenceError

PIXEL_LIMIT = 50_000_000
JPEG_QUALITY = 92

Image.MAX_IMAGE_PIXELS = PIXEL_LIMIT // 2  # the library refuses at twice this, before it decodes

_OPENERS: dict[FileType, type[ImageFile]] = {
    FileType.JPEG: JpegImageFile,
    FileType.PNG: PngImageFile,
    FileType.WEBP: WebPImageFile,
    FileType.TIFF: TiffImageFile,
}
_WRITTEN_AS = {
    FileType.JPEG: FileType.JPEG,
    FileType.WEBP: FileType.JPEG,
    FileType.PNG: FileType.PNG,
    FileType.TIFF: FileType.PNG,
}
_MEND = "Open the picture and export it anew as JPEG or PNG, then send that."
_TOO_LARGE = f"the picture has more than {PIXEL_LIMIT // 1_000_000} million pixels"
_MEND_LARGE = "Make it smaller, or cut it into parts."

_TELLTALES = {
    "device": ("Make", "Model", "Software", "BodySerialNumber", "LensSerialNumber", "MakerNote"),
    "author": ("Artist", "Copyright", "CameraOwnerName", "XPAuthor"),
    "comments": ("ImageDescription", "UserComment", "XPComment", "XPTitle", "XPKeywords"),
    "time of capture": ("DateTime", "DateTimeOriginal", "DateTimeDigitized"),
}
_TIFF_PIXELS = frozenset(
    {*range(254, 260), 262, 266, 273, *range(277, 285), 290, 291, 292, 293, 296, 301, 317, 320}
    | {*range(321, 326), 332, 338, 339, 347, 529, 530, 531, 532}
)
"""Tags that say how the pixels are stored (TIFF Revision 6.0, 1992)."""


@dataclass(frozen=True)
class CleanPicture:
    """A picture as pixels alone."""

    data: bytes
    type: FileType
    width: int
    height: int
    removed: tuple[str, ...]
    """What the original carried besides its pixels, in words."""
    captured: str | None
    """Time of capture by the device's own clock, ISO 8601; without offset if it stated none."""


def clean_picture(data: bytes, kind: FileType, name: str) -> CleanPicture:
    """Give a picture with its pixels, upright, and nothing else.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : FileType
        Its type, as `sniffing` found it.
    name : str
        What the sender calls it; for messages only.

    Returns
    -------
    CleanPicture
        JPEG for JPEG and WebP, PNG for PNG and TIFF; transparent parts are white.

    Raises
    ------
    EvidenceError
        If it is no picture, is damaged, or has more than 50 million pixels.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # odd metadata is about to be dropped anyway
        try:
            with _OPENERS[kind](io.BytesIO(data)) as image:
                _require_colours(image, name)
                removed, captured = _told(image, data, kind, name)
                pixels = _plain_pixels(image)
                clean = _encode(pixels, _WRITTEN_AS[kind], name)
        except EvidenceError:
            raise
        except Image.DecompressionBombError as error:
            raise EvidenceError(_TOO_LARGE, where=name, mend=_MEND_LARGE) from error
        except Exception as error:  # a hostile file makes the decoders raise anything
            raise EvidenceError(
                f"the file begins as {kind.words}, but cannot be decoded", where=name, mend=_MEND
            ) from error
    return CleanPicture(clean, _WRITTEN_AS[kind], *pixels.size, removed, captured)


def _require_colours(image: ImageFile, name: str) -> None:
    if image.width * image.height > PIXEL_LIMIT:
        raise EvidenceError(_TOO_LARGE, where=name, mend=_MEND_LARGE)
    if image.mode in {"F", "I"}:
        raise EvidenceError(
            "the picture holds measured values of 32 bits, not colours", where=name, mend=_MEND
        )


def _plain_pixels(image: ImageFile) -> Image.Image:
    """Decode, turn upright, put on white, bring to plain colours, and drop everything else."""
    profile = image.info.get("icc_profile")
    upright = ImageOps.exif_transpose(image)
    deep = upright.mode.startswith("I;16")
    if upright.has_transparency_data and not deep:
        layer = upright.convert("RGBA")
        white = Image.new("RGBA", layer.size, "white")
        upright = Image.alpha_composite(white, layer).convert("RGB")
    if profile and upright.mode in {"RGB", "L", "CMYK"}:
        upright = _in_srgb(upright, profile)
    if upright.mode not in {"1", "L", "RGB"} and not deep:
        upright = upright.convert("RGB")
    upright.info = {}
    return upright


def _in_srgb(image: Image.Image, profile: bytes) -> Image.Image:
    """Bring colours to sRGB, for the profile is dropped; a damaged one changes nothing."""
    try:
        changed = ImageCms.profileToProfile(
            image, io.BytesIO(profile), ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image
    return changed or image


def _encode(pixels: Image.Image, kind: FileType, name: str) -> bytes:
    file = io.BytesIO()
    if kind is FileType.JPEG:
        plain = pixels if pixels.mode in {"L", "RGB"} else pixels.convert("L")
        plain.save(file, "JPEG", quality=JPEG_QUALITY, subsampling=0)
    else:
        pixels.save(file, "PNG")
    data = file.getvalue()
    if carried := carried_parts(data, kind, name):
        raise EvidenceError(
            f"the cleaned picture still carries {', '.join(carried)}",
            where=name,
            mend="Do not use it; tell the maker of this program.",
        )
    return data


def _told(
    image: ImageFile, data: bytes, kind: FileType, name: str
) -> tuple[tuple[str, ...], str | None]:
    """Say what the file tells besides its pixels, and when its device says it was taken."""
    exif = image.getexif()
    details = exif.get_ifd(ExifTags.IFD.Exif)
    tags = {ExifTags.TAGS.get(tag, str(tag)) for tag in (*exif, *details)}
    told = [what for what, names in _TELLTALES.items() if not tags.isdisjoint(names)]
    if exif.get_ifd(ExifTags.IFD.GPSInfo):
        told.insert(0, "location")
    if kind is not FileType.TIFF and exif.get_ifd(ExifTags.IFD.IFD1):
        told.append("a thumbnail")
    if isinstance(image, TiffImageFile):
        told += [
            f"tag {TiffTags.lookup(tag).name}" for tag in image.tag_v2 if tag not in _TIFF_PIXELS
        ]
    else:
        told += carried_parts(data, kind, name)
    if getattr(image, "n_frames", 1) > 1:
        told.append("further pictures")
    return tuple(told), _captured(details)


def _captured(details: "dict[int, object]") -> str | None:
    moment = str(details.get(ExifTags.Base.DateTimeOriginal, ""))
    offset = str(details.get(ExifTags.Base.OffsetTimeOriginal, ""))
    found = re.fullmatch(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)\0?", moment)
    if not found:
        return None
    year, month, day, time = found.groups()
    stated = offset if re.fullmatch(r"[+-]\d\d:\d\d", offset) else ""
    return f"{year}-{month}-{day}T{time}{stated}"
