# SPDX-License-Identifier: MIT
"""Photos of a batch, in and out; and its whole record with them as one file."""

from __future__ import annotations

import asyncio
import hashlib
from typing import Annotated, Any
from uuid import UUID

from fastapi import APIRouter, Query, Request, Response

from api import views
from api.answers import Json
from api.entering import resolve_time
from api.kitchen import Kitchen, KitchenHere
from api.photos.files import MEDIA_TYPE, PhotoFiles, photos_of
from api.photos.picture import MOST_BYTES, SMALL_PX, made_safe
from api.record_zip import record_zip
from collector.errors import RecordError, UnknownRecordError

router = APIRouter(prefix="/v1/batches", tags=["batches"])

Said = Annotated[str | None, Query(max_length=200)]
_FOR_EVER = {
    "Cache-Control": "private, max-age=31536000, immutable",
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'",
}


@router.post("/{batch_id}/photos", status_code=201, summary="Add a photo")
async def add_photo(
    batch_id: str,
    request: Request,
    kitchen: KitchenHere,
    of: Said = None,
    at: Said = None,
    sent_at: Said = None,
    id: UUID | None = None,
    text: Annotated[str | None, Query(max_length=2000)] = None,
    who: Annotated[str | None, Query(max_length=100)] = None,
) -> Response:
    """The body is the picture itself (image/jpeg, image/png, image/webp), at most 20 MB.

    `of` is the id of a mark or a weighing that it shows. It is turned upright, made no longer than
    2048 px, and written anew as JPEG without place, time or any other data beside its pixels.
    """
    sent = await _body(request)
    said = {
        key: value
        for key, value in (("of", of), ("at", at), ("sent_at", sent_at), ("text", text))
        if value is not None
    }
    said["sent_sha256"] = hashlib.sha256(sent).hexdigest()
    answer, new = await asyncio.to_thread(
        _add, kitchen, batch_id, sent, said=said, record_id=str(id) if id else None, who=who or ""
    )
    return Json(answer, 201 if new else 200)


@router.get("/{batch_id}/photos", summary="Its photos")
def list_photos(batch_id: str, kitchen: KitchenHere) -> Response:
    """Those that stand, by time; each with the address of its picture."""
    batch = kitchen.journal.batch(batch_id)
    return Json({"photos": [views.observation(one) for one in photos_of(batch)]})


@router.get("/{batch_id}/photos/{sha256}", summary="A photo's picture")
def read_photo(batch_id: str, sha256: str, kitchen: KitchenHere, small: bool = False) -> Response:
    """As JPEG; with `small=true` no longer than 360 px. One that was withdrawn is not shown."""
    batch = kitchen.journal.batch(batch_id)
    if all(one.body["photo"]["sha256"] != sha256 for one in photos_of(batch)):
        gone = any((one.body.get("photo") or {}).get("sha256") == sha256 for one in batch.gone)
        raise UnknownRecordError(
            f"The photo {sha256[:12]}… was withdrawn."
            if gone
            else f"There is no photo {sha256[:12]!r}.",
            where=batch.name,
            do="Its file stays in the data folder." if gone else "Look at GET …/photos.",
        )
    jpeg = PhotoFiles(kitchen.data_dir).read(sha256)
    shown = made_safe(jpeg, longest_px=SMALL_PX).jpeg if small else jpeg
    return Response(shown, media_type=MEDIA_TYPE, headers=_FOR_EVER)


@router.get("/{batch_id}/record.zip", summary="The record with its photos, as one file")
def read_record_zip(batch_id: str, kitchen: KitchenHere) -> Response:
    """`record.json`, `record.csv` and `photos/`, each under the hash that the record names."""
    return Response(
        record_zip(kitchen, batch_id),
        media_type="application/zip",
        headers={"Content-Disposition": f'attachment; filename="record-{batch_id[:8]}.zip"'},
    )


async def _body(request: Request) -> bytes:
    """Return the body, and stop reading one that grows too large."""
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > MOST_BYTES:
            raise RecordError(
                "The photo has more than 20 MB.", where="photo", do="Send a smaller one."
            )
        parts.append(part)
    return b"".join(parts)


def _add(
    kitchen: Kitchen, batch_id: str, sent: bytes, *, said: dict[str, Any],
    record_id: str | None, who: str,
) -> tuple[dict[str, Any], bool]:  # fmt: skip
    batch = kitchen.journal.batch(batch_id)
    of = said.get("of")
    if of is not None and all(of != one.id for one in (*batch.events, *batch.weighings)):
        raise UnknownRecordError(
            f"There is no mark or weighing {of!r} that the photo could be of.",
            where=f"{batch.name}, of",
            do="Leave 'of' out, or read the batch again to find the id.",
        )
    timed = resolve_time(kitchen, said.get("at"), said.get("sent_at"))
    picture = made_safe(sent)
    sha256 = PhotoFiles(kitchen.data_dir).keep(picture.jpeg)
    fields = {
        "quantity": "photo",
        **timed,
        "photo": {
            "sha256": sha256,
            "media_type": MEDIA_TYPE,
            "bytes": len(picture.jpeg),
            "width_px": picture.width_px,
            "height_px": picture.height_px,
        },
        **({"of_record": of} if of else {}),
        **({"text": said["text"]} if said.get("text") else {}),
        "said": {key: value for key, value in said.items() if key != "sent_at"},
    }
    record, new = kitchen.journal.record(
        batch_id, "observation", fields, record_id=record_id, who=who
    )
    return views.observation(record), new
