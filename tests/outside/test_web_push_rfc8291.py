"""Web Push against RFC 8188, 8291 and 8292, by a receiver that is written here from their text.

The receiver uses nothing but elliptic-curve Diffie-Hellman, HMAC and AES-GCM, and is checked on the
worked examples of the RFCs before it is let loose on what the program posts at a loopback service.
The examples' values are second hand, equal in several public test suites; those that follow from
others (the shared secret to the nonce, the length of the body) are computed.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import stat
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from api.watch.message import Message
from api.watch.push_keys import FILE_NAME, public_text, read_or_make_key
from api.watch.push_route import send_by_push
from api.watch.subscription import Subscription, to_address

# RFC 8291, section 5 and appendix A.
PLAINTEXT = b"When I grow up, I want to be a watermelon"
UA_PRIVATE = "q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"
UA_PUBLIC = (
    "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
)
AUTH_SECRET = "BTBZMqHH6r4Tts7J_aSIgg"
ECDH_SECRET = "kyrL1jIIOHEzg3sM2ZWRHDRB62YACZhhSlknJ672kSs"
PRK_KEY = "Snr3JMxaHVDXHWJn5wdC52WjpCtd2EIEGBykDcZW32k"
IKM = "S4lYMb_L0FxCeq0WhDx813KgSYqU26kOyzWUdsXYyrg"
PRK = "09_eUZGrsvxChDCGRCdkLiDXrReGOEVeSCdCcPBSJSc"
CEK = "oIhVW04MRdy2XN9CiKLxTg"
NONCE = "4h_95klXJ5E_qnoN"
BODY = (
    "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS"
    "6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qu"
    "lcy4a-fN"
)
# RFC 8292, section 2.4.
EXAMPLE_TOKEN = (
    "eyJ0eXAiOiJKV1QiLCJhbGciOiJFUzI1NiJ9.eyJhdWQiOiJodHRwczovL3B1c2guZXhhbXBsZS5uZXQiLCJleHAiOjE0"
    "NTM1MjM3NjgsInN1YiI6Im1haWx0bzpwdXNoQGV4YW1wbGUuY29tIn0.i3CYb7t4xfxCDquptFOepC9GAu_HLGkMlMuC"
    "GSK2rpiUfnK9ojFwDXb1JrErtmysazNjjvW2L9OkSSHzvoD1oA"
)
EXAMPLE_KEY = (
    "BA1Hxzyi1RUM1b5wjxsn7nGxAszw2u61m164i3MrAIxHF6YK5h4SDYic-dRuU_RCPCfA5aq9ojSwk5Y2EmClBPs"
)


def raw(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def text(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def _hmac(key: bytes, data: bytes) -> bytes:
    return hmac.new(key, data, hashlib.sha256).digest()


def _point(key: ec.EllipticCurvePublicKey) -> bytes:
    return key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


class Browser:
    """The receiving end of RFC 8291: a key pair and an authentication secret."""

    def __init__(self, private: ec.EllipticCurvePrivateKey, auth: bytes) -> None:
        self.private, self.auth = private, auth
        self.public = _point(private.public_key())

    @classmethod
    def new(cls) -> Browser:
        return cls(ec.generate_private_key(ec.SECP256R1()), b"sixteen bytes ab")

    def secrets(self, sender: bytes, salt: bytes) -> dict[str, bytes]:
        """RFC 8291, section 3.4, and RFC 8188, sections 2.2 and 2.3."""
        point = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), sender)
        shared = self.private.exchange(ec.ECDH(), point)
        prk_key = _hmac(self.auth, shared)
        ikm = _hmac(prk_key, b"WebPush: info\x00" + self.public + sender + b"\x01")
        prk = _hmac(salt, ikm)
        cek = _hmac(prk, b"Content-Encoding: aes128gcm\x00\x01")[:16]
        nonce = _hmac(prk, b"Content-Encoding: nonce\x00\x01")[:12]
        return {
            "ecdh_secret": shared, "prk_key": prk_key, "ikm": ikm, "prk": prk, "cek": cek,
            "nonce": nonce,
        }  # fmt: skip

    def read(self, body: bytes) -> bytes:
        """Decrypt a body of one record, the only one that RFC 8291 allows."""
        salt, size, id_length = body[:16], int.from_bytes(body[16:20], "big"), body[20]
        sender, record = body[21 : 21 + id_length], body[21 + id_length :]
        assert id_length == 65 and len(record) <= size
        keys = self.secrets(sender, salt)
        padded = AESGCM(keys["cek"]).decrypt(keys["nonce"], record, None).rstrip(b"\x00")
        assert padded[-1] == 2  # the delimiter of the last record
        return padded[:-1]


def claims_of(token: str, key: bytes) -> dict[str, Any]:
    """Verify a token of RFC 8292 with the key beside it (ES256), and return its claims."""
    head, body, signature = token.split(".")
    assert json.loads(raw(head)) == {"typ": "JWT", "alg": "ES256"}
    signed = raw(signature)
    assert len(signed) == 64
    numbers = int.from_bytes(signed[:32], "big"), int.from_bytes(signed[32:], "big")
    point = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), key)
    point.verify(
        encode_dss_signature(*numbers), f"{head}.{body}".encode(), ec.ECDSA(hashes.SHA256())
    )
    found: dict[str, Any] = json.loads(raw(body))
    return found


@pytest.fixture
def example() -> Browser:
    number = int.from_bytes(raw(UA_PRIVATE), "big")
    return Browser(ec.derive_private_key(number, ec.SECP256R1()), raw(AUTH_SECRET))


def test_the_receiver_derives_every_value_of_the_worked_example(example: Browser) -> None:
    body = raw(BODY)

    keys = example.secrets(body[21:86], body[:16])

    assert text(example.public) == UA_PUBLIC
    assert {name: text(value) for name, value in keys.items()} == {
        "ecdh_secret": ECDH_SECRET, "prk_key": PRK_KEY, "ikm": IKM, "prk": PRK, "cek": CEK,
        "nonce": NONCE,
    }  # fmt: skip


def test_the_receiver_reads_the_message_of_the_worked_example(example: Browser) -> None:
    assert len(raw(BODY)) == 144  # computed: the RFC prints Content-Length: 145
    assert example.read(raw(BODY)) == PLAINTEXT


def test_the_receiver_verifies_the_token_of_the_worked_example_and_no_other() -> None:
    assert claims_of(EXAMPLE_TOKEN, raw(EXAMPLE_KEY)) == {
        "aud": "https://push.example.net", "exp": 1453523768, "sub": "mailto:push@example.com",
    }  # fmt: skip
    with pytest.raises(InvalidSignature):
        claims_of(EXAMPLE_TOKEN, raw(UA_PUBLIC))


class PushService:
    """A push service on loopback that keeps what it is sent."""

    def __init__(self) -> None:
        self.status = 201
        self.got: list[tuple[str, dict[str, str], bytes]] = []
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                said = {name.lower(): value for name, value in self.headers.items()}
                service.got.append((self.path, said, body))
                self.send_response(service.status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None: ...

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.origin = f"http://127.0.0.1:{self._server.server_address[1]}"
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


@pytest.fixture
def service() -> Iterator[PushService]:
    opened = PushService()
    yield opened
    opened.close()


MESSAGE = Message(
    "notice",
    "9f1c4d5e-54ad-5c8f-9a1e-3f2b1d1c7a5e",
    "Fern Lane",
    "North: add the coagulant",
    "North: 82 degC. Add the coagulant now.",
    "high",
    "2026-03-02T08:15:00.000Z",
)


def address_of(browser: Browser, service: PushService, data_dir: Path, **more: Any) -> str:
    said: dict[str, Any] = {
        "endpoint": f"{service.origin}/send/very-secret",
        "p256dh": text(browser.public),
        "auth": text(browser.auth),
        "expires_ms": None,
        "server_key": public_text(read_or_make_key(data_dir)),
        **more,
    }
    return to_address(Subscription(**said))


def test_a_posted_message_is_read_by_the_receiver_and_its_token_verifies(
    service: PushService, tmp_path: Path
) -> None:
    browser = Browser.new()
    address = address_of(browser, service, tmp_path)

    outcome = send_by_push(address, MESSAGE, tmp_path, "mailto:kitchen@fern-lane.example")

    assert outcome.taken and outcome.answer == "the push service took it (201)"
    ((path, headers, body),) = service.got
    assert json.loads(browser.read(body)) == MESSAGE.as_json()
    assert path == "/send/very-secret"
    # RFC 8030, section 5.2 (a time to live must be given), 5.3 and 5.4 (at most 32 characters).
    assert headers["ttl"] == "86400" and headers["urgency"] == "high"
    assert headers["topic"] == "9f1c4d5e54ad5c8f9a1e3f2b1d1c7a5e"
    assert headers["content-encoding"] == "aes128gcm"
    # RFC 8291, section 4: one record, in a body of at most 4096 bytes.
    assert len(body) <= 4096
    scheme, _, rest = headers["authorization"].partition(" ")
    said = dict(part.strip().split("=", 1) for part in rest.split(","))
    assert scheme == "vapid" and said["k"] == public_text(read_or_make_key(tmp_path))
    claims = claims_of(said["t"], raw(said["k"]))
    assert claims["aud"] == service.origin
    assert claims["sub"] == "mailto:kitchen@fern-lane.example"
    # RFC 8292, section 2: not more than 24 hours from the time of the request.
    assert time.time() < claims["exp"] <= time.time() + 86_400


def test_no_two_messages_are_encrypted_alike(service: PushService, tmp_path: Path) -> None:
    address = address_of(Browser.new(), service, tmp_path)

    for _ in range(2):
        send_by_push(address, MESSAGE, tmp_path, "mailto:kitchen@fern-lane.example")

    (_, _, first), (_, _, second) = service.got
    assert first[:16] != second[:16] and first[21:86] != second[21:86]


def test_the_longest_message_fits_into_one_record(service: PushService, tmp_path: Path) -> None:
    browser = Browser.new()
    longest = Message("notice", MESSAGE.id, "é" * 80, "é" * 500, "é" * 5000, "high", MESSAGE.at)

    send_by_push(address_of(browser, service, tmp_path), longest, tmp_path, "https://fern.example")

    ((_, _, body),) = service.got
    assert len(body) <= 4096
    assert json.loads(browser.read(body))["text"].startswith("é" * 800)


@pytest.mark.parametrize("status", [404, 410])
def test_a_subscription_that_is_gone_is_gone(
    service: PushService, tmp_path: Path, status: int
) -> None:
    # RFC 8030, section 7.3: 404 for an expired one; 410 is what services answer in practice.
    service.status = status

    outcome = send_by_push(
        address_of(Browser.new(), service, tmp_path), MESSAGE, tmp_path, "https://fern.example"
    )

    assert (outcome.taken, outcome.gone) == (False, True)
    assert "subscribe again" in outcome.answer


@pytest.mark.parametrize("status", [400, 403, 413, 429, 500])
def test_other_refusals_are_told_and_the_route_stays(
    service: PushService, tmp_path: Path, status: int
) -> None:
    service.status = status

    outcome = send_by_push(
        address_of(Browser.new(), service, tmp_path), MESSAGE, tmp_path, "https://fern.example"
    )

    assert (outcome.taken, outcome.gone) == (False, False)
    assert str(status) in outcome.answer


def test_one_that_has_expired_or_was_made_with_another_key_is_gone_unsent(
    service: PushService, tmp_path: Path
) -> None:
    expired = address_of(Browser.new(), service, tmp_path, expires_ms=1_772_439_300_000)
    foreign = address_of(Browser.new(), service, tmp_path, server_key=EXAMPLE_KEY)

    outcomes = [
        send_by_push(one, MESSAGE, tmp_path, "https://fern.example") for one in (expired, foreign)
    ]

    assert [outcome.gone for outcome in outcomes] == [True, True]
    assert service.got == []


def test_a_service_that_isn_t_there_is_an_outcome_without_a_secret(
    service: PushService, tmp_path: Path
) -> None:
    browser = Browser.new()
    address = address_of(browser, service, tmp_path)
    service.close()

    outcome = send_by_push(address, MESSAGE, tmp_path, "https://fern.example")

    assert (outcome.taken, outcome.gone) == (False, False)
    secrets = ("very-secret", text(browser.auth), text(browser.public))
    assert not [secret for secret in secrets if secret in outcome.answer]


def test_the_key_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    first = read_or_make_key(tmp_path)
    again = read_or_make_key(tmp_path)

    assert public_text(first) == public_text(again)
    assert len(raw(public_text(first))) == 65 and raw(public_text(first))[0] == 4
    assert stat.S_IMODE((tmp_path / FILE_NAME).stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == [FILE_NAME]
