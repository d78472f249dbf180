# SPDX-License-Identifier: MIT
"""Who may call: anyone on this machine; from elsewhere only with the token printed at start.

A plain ASGI layer, so that it also stands before streams and static files.
"""

from __future__ import annotations

import hmac
import ipaddress
import os
import re
import secrets
import socket
from collections.abc import Awaitable, Callable
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.parse import quote, urlsplit

from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import problem
from collector.errors import StoreError

COOKIE = "curdwright_token"
_WRITES = {"POST", "PUT", "PATCH", "DELETE"}
_CONTENT_TYPES = {"application/json", "application/senml+json", "application/problem+json"}
_PHOTO_TYPES = {"image/jpeg", "image/png", "image/webp"}
_PHOTO_PATH = re.compile(r"^/v1/batches/[^/]+/photos$")
_OPEN_PATHS = ("/pair", "/v1/pair", "/static/", "/healthz")
Answer = Callable[[Message], Awaitable[None]]


def read_or_make_token(path: Path) -> str:
    """Return the token of this data folder, made at the first start.

    Args:
        path: The file that keeps it, readable by its owner alone.

    Raises:
        StoreError: It can't be read or written.
    """
    try:
        if path.exists():
            return path.read_text(encoding="ascii").strip()
        token = secrets.token_urlsafe(18)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(token + "\n")
        return token
    except FileExistsError:
        return path.read_text(encoding="ascii").strip()
    except OSError as error:
        raise StoreError(
            f"The token file can't be used ({error.strerror}).",
            where=str(path),
            do="Check that you may write in the data folder, or name another with --data.",
        ) from error


def own_names(host: str) -> frozenset[str]:
    """Return the names and addresses by which this machine may be called.

    Args:
        host: The address that the server listens on.
    """
    names = {"localhost", "127.0.0.1", "::1", host.lower(), socket.gethostname().lower()}
    names.add(f"{socket.gethostname().split('.')[0].lower()}.local")
    if host in ("0.0.0.0", "::"):
        names.update(lan_addresses())
    return frozenset(names)


def lan_addresses() -> list[str]:
    """Return this machine's addresses on its networks, loopback left out."""
    found: list[str] = []
    try:
        for family, _, _, _, address in socket.getaddrinfo(socket.gethostname(), None):
            text = str(address[0])
            usable = family in (socket.AF_INET, socket.AF_INET6) and "%" not in text
            if usable and not ipaddress.ip_address(text).is_loopback and text not in found:
                found.append(text)
    except OSError:
        pass
    # A datagram socket that is only "connected" sends nothing, and tells the outgoing address.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            own = probe.getsockname()[0]
            if own not in found and not ipaddress.ip_address(own).is_loopback:
                found.insert(0, own)
        except OSError:
            pass
    return found


def is_local(scope: Scope) -> bool:
    """Tell whether a call comes from this machine itself, and through no forwarder."""
    headers = {name for name, _ in scope["headers"]}
    if headers & {b"x-forwarded-for", b"forwarded", b"x-real-ip"}:
        return False
    client = scope.get("client")
    if client is None:
        return True  # a local socket file
    try:
        return ipaddress.ip_address(client[0]).is_loopback
    except ValueError:
        return False


class Access:
    """Refuses calls that come with a foreign Host or Origin, or from elsewhere without token."""

    def __init__(self, app: ASGIApp, *, token: str, names: frozenset[str]) -> None:
        self.app = app
        self._token = token
        self._names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a call on, or answer it with a problem."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {
            name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]
        }
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _refusal(self, scope: Scope, headers: dict[str, str]) -> ASGIApp | None:
        host = urlsplit(f"//{headers.get('host', '')}").hostname or ""
        if host.lower() not in self._names and not _is_address(host):
            return problem(
                421,
                f"This kitchen is not called {host!r}.",
                where="Host",
                do="Use the address that was printed at start.",
            )
        if scope["method"] in _WRITES and (refused := self._foreign_write(headers, scope["path"])):
            return refused
        if is_local(scope) or scope["path"].startswith(_OPEN_PATHS) or self._has_token(headers):
            return None
        if "text/html" in headers.get("accept", ""):
            return RedirectResponse(f"/pair?to={quote(scope['path'])}", 303)
        return problem(
            401,
            "This call came from another machine and carries no token.",
            where=scope["path"],
            do="Open the pairing address that was printed at start, or send the token as "
            "'Authorization: Bearer …'.",
        )

    def _foreign_write(self, headers: dict[str, str], path: str) -> ASGIApp | None:
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc != headers.get("host"):
            return problem(
                403,
                f"This call was made by a page of another site ({origin}).",
                where="Origin",
                do="Make it from the kitchen's own pages.",
            )
        kind = headers.get("content-type", "").split(";")[0].strip().lower()
        empty = headers.get("content-length", "0") == "0" and "transfer-encoding" not in headers
        photo = _PHOTO_PATH.match(path) is not None
        if kind not in (_PHOTO_TYPES if photo else _CONTENT_TYPES) and not (empty and not kind):
            return problem(
                415,
                f"The content type {kind or '(none)'!r} is not taken.",
                where="Content-Type",
                do="Send the picture itself as image/jpeg, image/png or image/webp."
                if photo
                else "Send application/json, or application/senml+json for readings.",
            )
        return None

    def _has_token(self, headers: dict[str, str]) -> bool:
        cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        bearer = headers.get("authorization", "")
        offered = cookie.value if cookie else bearer.removeprefix("Bearer ").strip()
        return hmac.compare_digest(offered.encode(), self._token.encode())


def _is_address(host: str) -> bool:
    # A page of another site can't make a browser send a bare address of ours as Host.
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


class Gate:
    """Lets through a few tries a minute, so that a token can't be guessed by trying."""

    def __init__(self, tries: int, every_s: float, clock_s: Callable[[], float]) -> None:
        self._tries, self._every_s, self._clock_s = tries, every_s, clock_s
        self._made: list[float] = []

    def try_once(self) -> bool:
        """Count a try and tell whether it may go on."""
        now_s = self._clock_s()
        self._made = [made for made in self._made if now_s - made < self._every_s]
        if len(self._made) >= self._tries:
            return False
        self._made.append(now_s)
        return True

    def reset(self) -> None:
        """Forget the tries, after one that was right."""
        self._made = []
