"""Photos of a batch: made safe, kept under their hash, told in the record, checked."""

from __future__ import annotations

import hashlib
import io
import struct
import zipfile
import zlib
from typing import Any

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from api.kitchen import Kitchen
from api.photos.picture import LONGEST_PX, SMALL_PX, made_safe
from api.verifying import verify
from collector.errors import RecordError

ORIENTATION, MAKE, GPS = 0x0112, 0x010F, 0x8825


def jpeg(width: int = 60, height: int = 40, *, orientation: int = 1) -> bytes:
    """Return a picture, red on its left half and blue on its right, with data of place and make."""
    image = Image.new("RGB", (width, height), "red")
    image.paste((0, 0, 255), (width // 2, 0, width, height))
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif[MAKE] = "Invented phone"
    exif[GPS] = {1: "N", 2: (48.0, 12.0, 30.0), 3: "E", 4: (16.0, 22.0, 12.0)}
    out = io.BytesIO()
    image.save(out, "JPEG", quality=95, exif=exif, comment=b"secret words")
    return out.getvalue()


def png_that_claims(width: int, height: int) -> bytes:
    """Return a small PNG whose heading claims a huge picture."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data
            + struct.pack(">I", zlib.crc32(kind + data))
        )  # fmt: skip

    heading = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    rows = zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", heading) + chunk(b"IDAT", rows)


@pytest.fixture
def batch(client: TestClient) -> dict[str, Any]:
    made = client.post("/v1/batches", json={"name": "Small", "started_at": "2026-03-02T08:00:00Z"})
    found: dict[str, Any] = made.json()
    return found


def send(
    client: TestClient, batch: str, body: bytes, kind: str = "image/jpeg", **query: str
) -> Any:
    return client.post(
        f"/v1/batches/{batch}/photos", content=body, headers={"Content-Type": kind}, params=query
    )


def test_a_photo_is_turned_upright_and_tells_of_nothing_beside_its_pixels() -> None:
    kept = made_safe(jpeg(orientation=6))  # 6: turn a quarter to the right to see it upright

    assert (kept.width_px, kept.height_px) == (40, 60)
    with Image.open(io.BytesIO(kept.jpeg)) as read:
        assert not read.getexif()
        assert not {"exif", "comment", "icc_profile"} & read.info.keys()
        top, bottom = read.getpixel((20, 10)), read.getpixel((20, 50))
    assert isinstance(top, tuple) and isinstance(bottom, tuple)
    assert top[0] > 200 > 60 > top[2]  # its left, red, is on top
    assert bottom[2] > 200 > 60 > bottom[0]
    for secret in (b"Exif", b"Invented phone", b"secret words"):
        assert secret not in kept.jpeg


def test_a_large_photo_becomes_smaller_and_a_see_through_one_white() -> None:
    large = made_safe(jpeg(3000, 1500))
    glass = io.BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(glass, "PNG")

    assert (large.width_px, large.height_px) == (LONGEST_PX, LONGEST_PX // 2)
    with Image.open(io.BytesIO(made_safe(glass.getvalue()).jpeg)) as read:
        assert read.getpixel((4, 4)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (b"", "no picture that can be read"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no picture that can be read"),
        (b"GIF89a" + bytes(60), "no picture that can be read"),
        (jpeg()[:400], "no picture that can be read"),
        (png_that_claims(8000, 8000), "million pixels"),
        (png_that_claims(30000, 30000), "more pixels than are taken"),
        (bytes(20_000_001), "20 MB"),
    ],
)
def test_what_is_no_photo_or_too_large_is_refused_with_what_to_do(sent: bytes, words: str) -> None:
    with pytest.raises(RecordError, match=words) as refused:
        made_safe(sent)

    assert refused.value.do


def test_a_photo_is_an_observation_of_its_mark_kept_under_its_hash(
    client: TestClient, kitchen: Kitchen, batch: dict[str, Any]
) -> None:
    mark = client.post(f"/v1/batches/{batch['id']}/events", json={"kind": "set"}).json()
    answer = send(client, batch["id"], jpeg(), of=mark["id"], text="the first curd", who="ana")

    assert answer.status_code == 201, answer.text
    said = answer.json()
    sha256 = said["photo"]["sha256"]
    assert (said["quantity"], said["of_record"], said["who"]) == ("photo", mark["id"], "ana")
    file = kitchen.data_dir / "photos" / f"{sha256}.jpg"
    assert hashlib.sha256(file.read_bytes()).hexdigest() == sha256
    shown = client.get(f"/v1/batches/{batch['id']}/photos/{sha256}")
    assert (shown.headers["content-type"], shown.content) == ("image/jpeg", file.read_bytes())
    record = client.get(f"/v1/batches/{batch['id']}/record.json").json()
    assert record["observations"][0]["photo"]["sha256"] == sha256
    assert sha256 in client.get(f"/v1/batches/{batch['id']}/record.csv").text


def test_the_same_id_again_is_one_photo_and_another_picture_under_it_a_conflict(
    client: TestClient, batch: dict[str, Any]
) -> None:
    made = "5b0b6a34-6d7e-4b4e-9a3e-0f5a4f1d2c11"
    first = send(client, batch["id"], jpeg(), id=made, sent_at="2026-03-02T08:15:00Z")
    again = send(client, batch["id"], jpeg(), id=made, sent_at="2026-03-02T08:16:00Z")
    other = send(client, batch["id"], jpeg(30, 30), id=made)

    assert (first.status_code, again.status_code, other.status_code) == (201, 200, 409)
    assert again.json() == first.json()
    assert len(client.get(f"/v1/batches/{batch['id']}/photos").json()["photos"]) == 1


def test_a_small_one_is_given_for_lists(client: TestClient, batch: dict[str, Any]) -> None:
    sha256 = send(client, batch["id"], jpeg(900, 600)).json()["photo"]["sha256"]
    small = client.get(f"/v1/batches/{batch['id']}/photos/{sha256}", params={"small": True})

    with Image.open(io.BytesIO(small.content)) as read:
        assert max(read.size) == SMALL_PX


def test_a_withdrawn_photo_stays_and_is_not_shown(
    client: TestClient, kitchen: Kitchen, batch: dict[str, Any]
) -> None:
    said = send(client, batch["id"], jpeg()).json()
    path = f"/v1/batches/{batch['id']}"
    client.post(f"{path}/observations", json={"withdraws": said["id"], "why": "a face in it"})
    sha256 = said["photo"]["sha256"]
    answer = client.get(f"{path}/photos/{sha256}")

    assert answer.status_code == 404
    assert "was withdrawn" in answer.json()["detail"]
    assert client.get(f"{path}/photos").json()["photos"] == []
    assert (kitchen.data_dir / "photos" / f"{sha256}.jpg").exists()
    with zipfile.ZipFile(io.BytesIO(client.get(f"{path}/record.zip").content)) as packed:
        assert packed.namelist() == ["record.json", "record.csv"]


def test_the_packed_record_holds_each_photo_under_its_hash(
    client: TestClient, batch: dict[str, Any]
) -> None:
    sha256 = send(client, batch["id"], jpeg()).json()["photo"]["sha256"]
    answer = client.get(f"/v1/batches/{batch['id']}/record.zip")

    with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
        assert hashlib.sha256(packed.read(f"photos/{sha256}.jpg")).hexdigest() == sha256
        assert sha256.encode() in packed.read("record.json")


@pytest.mark.parametrize("harm", ["changed", "missing"])
def test_verify_finds_a_photo_that_was_changed_or_is_missing(
    client: TestClient, kitchen: Kitchen, batch: dict[str, Any], harm: str
) -> None:
    sha256 = send(client, batch["id"], jpeg()).json()["photo"]["sha256"]
    file = kitchen.data_dir / "photos" / f"{sha256}.jpg"
    assert verify(kitchen, say=lambda _: None) == []
    if harm == "changed":
        file.write_bytes(file.read_bytes() + b"x")
    else:
        file.unlink()

    [fault] = verify(kitchen, say=lambda _: None)

    assert fault.startswith("photos: ") and harm in fault


@pytest.mark.parametrize("kind", ["application/json", "multipart/form-data", "text/html"])
def test_only_pictures_are_taken_and_only_here(
    client: TestClient, batch: dict[str, Any], kind: str
) -> None:
    assert send(client, batch["id"], jpeg(), kind).status_code == 415
    elsewhere = client.post("/v1/batches", content=jpeg(), headers={"Content-Type": "image/jpeg"})
    assert elsewhere.status_code == 415


@pytest.mark.parametrize("name", ["..%2f..%2ftoken", "x", "a" * 64, "A" * 64])
def test_a_name_that_is_no_photo_of_this_batch_finds_nothing(
    client: TestClient, batch: dict[str, Any], name: str
) -> None:
    assert client.get(f"/v1/batches/{batch['id']}/photos/{name}").status_code == 404


def test_a_photo_of_what_is_not_there_is_refused(client: TestClient, batch: dict[str, Any]) -> None:
    answer = send(client, batch["id"], jpeg(), of="nothing")

    assert answer.status_code == 404
    assert "no mark or weighing" in answer.json()["detail"]
