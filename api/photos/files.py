# SPDX-License-Identifier: MIT
"""The photos of a kitchen as files: `photos/<SHA-256>.jpg` in the data folder.

A file is never changed and never deleted, also not when the record that names it is withdrawn.
Imports the ground.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from api.records.batches import Batch, Kept
from collector.errors import StoreError, UnknownRecordError

FOLDER = "photos"
MEDIA_TYPE = "image/jpeg"
_HASH_LETTERS = frozenset("0123456789abcdef")


class PhotoFiles:
    """Keeps photos and gives them back."""

    def __init__(self, data_dir: Path) -> None:
        self.folder = data_dir / FOLDER

    def path(self, sha256: str) -> Path:
        """Return where a photo lies, whether it is there or not.

        Raises:
            UnknownRecordError: That is no SHA-256 in hexadecimal.
        """
        if len(sha256) != 64 or not _HASH_LETTERS.issuperset(sha256):
            raise UnknownRecordError(
                f"{sha256[:80]!r} names no photo.",
                where="photos",
                do="Give the 64 hexadecimal digits that the record names.",
            )
        return self.folder / f"{sha256}.jpg"

    def keep(self, jpeg: bytes) -> str:
        """Write a photo, if it isn't there yet, and return its SHA-256.

        It is on the disk, whole, before this returns.

        Raises:
            StoreError: It can't be written.
        """
        sha256 = hashlib.sha256(jpeg).hexdigest()
        path = self.path(sha256)
        try:
            self.folder.mkdir(exist_ok=True)
            if path.exists() and path.read_bytes() == jpeg:
                return sha256
            handle, name = tempfile.mkstemp(dir=self.folder, suffix=".part")
            with os.fdopen(handle, "wb") as file:
                file.write(jpeg)
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(path)
        except OSError as error:
            raise StoreError(
                f"The photo could not be written ({error.strerror}).",
                where=str(self.folder),
                do="Make room on the disk, or see that you may write in the data folder.",
            ) from error
        return sha256

    def read(self, sha256: str) -> bytes:
        """Return a photo's bytes, checked against its hash.

        Raises:
            UnknownRecordError: Its file isn't there.
            StoreError: It can't be read, or was changed.
        """
        path = self.path(sha256)
        try:
            jpeg = path.read_bytes()
        except FileNotFoundError as error:
            raise UnknownRecordError(
                f"The file of the photo {sha256[:12]}… is missing.",
                where=str(path),
                do="Put it back from a copy of the data folder.",
            ) from error
        except OSError as error:
            raise StoreError(
                f"The photo can't be read ({error.strerror}).", where=str(path),
                do="See that you may read in the data folder.",
            ) from error  # fmt: skip
        if hashlib.sha256(jpeg).hexdigest() != sha256:
            raise StoreError(
                f"The file of the photo {sha256[:12]}… was changed: its hash differs.",
                where=str(path),
                do="Put it back from a copy of the data folder.",
            )
        return jpeg


def photos_of(batch: Batch) -> list[Kept]:
    """Return the standing photos of a batch, by time."""
    return [one for one in batch.observations if one.body.get("photo")]


def photo_faults(files: PhotoFiles, batch: Batch) -> Iterator[str]:
    """Return what is wrong with the files of a batch's photos, withdrawn ones too."""
    named = [one.body["photo"]["sha256"] for one in photos_of(batch)]
    named += [one.body["photo"]["sha256"] for one in batch.gone if one.body.get("photo")]
    for sha256 in dict.fromkeys(named):
        try:
            files.read(sha256)
        except (StoreError, UnknownRecordError) as error:
            yield f"{batch.id}: {error.what}"
