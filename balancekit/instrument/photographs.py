"""Photographs of an instrument: scaled down, without place and device, kept in its folder."""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Mapping

from balancekit.calculation.problems import BalancekitError, Problem

LARGEST_SIDE = 1600
"""Pixels; enough to read a pencil mark on a key, common practice, no source."""

MOST_PICTURE_BYTES = 20_000_000
"""Bytes of all photographs of one instrument."""

LARGEST_BROUGHT = 40_000_000
"""Bytes of a picture that is brought in."""

_QUALITY = 82
_MOST_PIXELS = 120_000_000
_KINDS = ("JPEG", "PNG", "WEBP", "GIF", "BMP", "TIFF")
_NAME = re.compile(r"photograph_[0-9a-f]{16}[.]jpg")


def prepared(data: bytes, name: str) -> tuple[str, bytes]:
    """Return a picture as it is kept, and the name made from what it shows.

    It is turned upright, scaled down, and written anew as JPEG, so that nothing but the picture
    remains: no place, device, time or other data.

    Parameters
    ----------
    data : bytes of a picture.
    name : of its file, for messages.

    Raises
    ------
    BalancekitError : it is no picture, or far too large.
    """
    # Costs a tenth of a second, which an instrument without photographs need not pay.
    from PIL import Image, ImageOps

    if len(data) > LARGEST_BROUGHT:
        raise _refused(name, f"The picture has more than {LARGEST_BROUGHT // 1_000_000} MB.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=_KINDS) as picture:
                if picture.width * picture.height > _MOST_PIXELS:
                    raise _refused(name, "The picture has too many pixels.")
                picture.draft("RGB", (LARGEST_SIDE, LARGEST_SIDE))
                upright = ImageOps.exif_transpose(picture).convert("RGB")
    except BalancekitError:
        raise
    except (
        OSError, ValueError, SyntaxError, OverflowError, MemoryError, EOFError,
        Image.DecompressionBombError, Image.DecompressionBombWarning,
    ):  # fmt: skip
        raise _refused(name, "The file is not a picture that can be read.") from None
    upright.thumbnail((LARGEST_SIDE, LARGEST_SIDE))
    clean = Image.new("RGB", upright.size)
    clean.paste(upright)
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=_QUALITY, optimize=True)
    kept = out.getvalue()
    return _name(kept), kept


def check_kept(name: str, data: bytes) -> None:
    """Refuse a kept photograph that is not as ``prepared`` leaves it.

    Raises
    ------
    BalancekitError : its name does not fit what it holds, it is no JPEG, it is too large, or it
        carries data beside the picture.
    """
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as picture:
            size, beside = picture.size, set(picture.info)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise _refused(name, "It is not a photograph that can be read.") from None
    if name != _name(data) or max(size) > LARGEST_SIDE or beside & {"exif", "comment", "xmp"}:
        raise _refused(name, "The photograph was changed outside balancekit.")


def joined(own: Mapping[str, bytes], added: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the photographs of an instrument with some added.

    Raises
    ------
    BalancekitError : together they would be more than ``MOST_PICTURE_BYTES``.
    """
    whole = {**own, **added}
    size = sum(map(len, whole.values()))
    if size > MOST_PICTURE_BYTES:
        raise BalancekitError(
            Problem(
                f"With this the photographs would have {size / 1e6:.1f} MB.",
                f"Up to {MOST_PICTURE_BYTES // 1_000_000} MB are kept. Leave out a note with "
                "photographs first. Nothing was changed.",
            )
        )
    return whole


def _name(data: bytes) -> str:
    return f"photograph_{hashlib.sha256(data).hexdigest()[:16]}.jpg"


def _refused(name: str, message: str) -> BalancekitError:
    advice = "Bring a photograph as JPEG, PNG or WebP. Nothing was changed."
    return BalancekitError(Problem(message, advice, file=name[:80]))
