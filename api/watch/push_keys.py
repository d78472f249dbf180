# SPDX-License-Identifier: MIT
"""The kitchen's own key pair for Web Push (VAPID, RFC 8292), made at first use.

The private key stays in the data folder, for its owner alone; it is in no log and no answer. A
subscription belongs to the key that it was made with: losing the file ends them all.
"""

from __future__ import annotations

import base64
import os
from pathlib import Path
from typing import TYPE_CHECKING

from collector.errors import StoreError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

FILE_NAME = "push-key.pem"


def read_or_make_key(data_dir: Path) -> EllipticCurvePrivateKey:
    """Return the private key of a data folder.

    Args:
        data_dir: Where all that is kept lies.

    Raises:
        StoreError: The file can't be read or written, or holds no such key.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    path = data_dir / FILE_NAME
    try:
        if not path.exists():
            _make(path)
        key = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except OSError as error:
        raise StoreError(
            f"The key file of Web Push can't be used ({error.strerror}).",
            where=str(path),
            do="Check that you may read and write in the data folder.",
        ) from error
    except (ValueError, TypeError) as error:
        raise _no_key(path) from error
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.curve.name != "secp256r1":
        raise _no_key(path)
    return key


def public_text(key: EllipticCurvePrivateKey) -> str:
    """Return the public key as a browser takes it: the uncompressed point, base64url."""
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    point = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    return base64.urlsafe_b64encode(point).decode("ascii").rstrip("=")


def _make(path: Path) -> None:
    """Write a new key whole or not at all; whoever comes second takes that of the first."""
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.serialization import (
        Encoding,
        NoEncryption,
        PrivateFormat,
    )

    made = ec.generate_private_key(ec.SECP256R1())
    text = made.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    draft = path.with_name(f".{path.name}.{os.getpid()}.{os.urandom(4).hex()}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(draft, path)
        except FileExistsError:
            pass
    finally:
        draft.unlink()


def _no_key(path: Path) -> StoreError:
    return StoreError(
        "The key file of Web Push holds no key of the curve P-256.",
        where=str(path),
        do="Put the file back from a backup; or move it away, and let each phone subscribe again.",
    )
