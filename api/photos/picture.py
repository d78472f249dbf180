# SPDX-License-Identifier: MIT
"""From what a phone sent to a picture that may be kept: upright, bounded, telling of nothing else.

The picture is written anew from its pixels, so nothing that stood beside them (place, time,
device, owner, preview, colour profile) comes along. Imports Pillow inside the function, and only
the ground; no I/O.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.errors import RecordError

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES = 20_000_000
MOST_PIXELS = 50_000_000
"""A phone's largest is about 50 million; a file that claims more is refused before it is read."""
LONGEST_PX = 2048
SMALL_PX = 360
_FORMATS = ("JPEG", "PNG", "WEBP")
_QUALITY = 85


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as it is kept.

    Attributes:
        jpeg: Its bytes.
        width_px: Across [px].
        height_px: Down [px].
    """

    jpeg: bytes
    width_px: int
    height_px: int


def made_safe(sent: bytes, *, longest_px: int = LONGEST_PX) -> Picture:
    """Return a picture written anew: turned upright, made smaller where it is too large.

    Args:
        sent: JPEG, PNG or WebP as it came.
        longest_px: No side of the result is longer [px].

    Raises:
        RecordError: It is too large, no picture, or broken.
    """
    from PIL import Image as Images
    from PIL import ImageOps

    if len(sent) > MOST_BYTES:
        raise _too_large(f"It has {len(sent) / 1e6:.1f} MB, and at most 20 MB are taken.")
    try:
        with Images.open(io.BytesIO(sent), formats=_FORMATS) as opened:
            pixels = opened.width * opened.height
            if pixels > MOST_PIXELS:
                raise _too_large(
                    f"It has {pixels / 1e6:.0f} million pixels, and at most 50 million are taken."
                )
            opened.draft("RGB", (longest_px, longest_px))
            upright = ImageOps.exif_transpose(opened)
            flat = _on_white(upright)
            flat.thumbnail((longest_px, longest_px))
            return _written(flat)
    except (Images.DecompressionBombError, Images.DecompressionBombWarning) as error:
        raise _too_large("It claims more pixels than are taken (50 million).") from error
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        if isinstance(error, RecordError):
            raise
        raise RecordError(
            f"What was sent ({len(sent)} bytes) is no picture that can be read.",
            where="photo",
            do="Send a whole JPEG, PNG or WebP. On some phones choose 'most compatible' as format.",
        ) from error


def _on_white(image: Image) -> Image:
    """Return an image in RGB without transparency."""
    from PIL import Image as Images

    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        full = image.convert("RGBA")
        white = Images.new("RGB", full.size, "white")
        white.paste(full, mask=full.getchannel("A"))
        return white
    return image.convert("RGB")


def _written(image: Image) -> Picture:
    from PIL import Image as Images

    bare = Images.frombytes("RGB", image.size, image.tobytes())
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return Picture(out.getvalue(), bare.width, bare.height)


def _too_large(what: str) -> RecordError:
    return RecordError(
        f"The photo is too large. {what}", where="photo", do="Send a smaller one, or a part of it."
    )
