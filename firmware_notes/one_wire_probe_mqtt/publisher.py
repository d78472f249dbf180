# SPDX-License-Identifier: MIT
"""As much of MQTT 3.1.1 as a probe needs: one connection that publishes with QoS 1.

Source: OASIS MQTT 3.1.1, sections 2 and 3 (from memory), tried against a real broker.
"""

import socket

from clock import ticks_diff, ticks_ms

REPLY_S = 2
KEEP_ALIVE_S = 30
RETRY_MS = (1000, 30000)


def text(value):
    """Return text as MQTT writes it: its length in two bytes, then UTF-8."""
    raw = value.encode() if isinstance(value, str) else value
    return bytes([len(raw) >> 8, len(raw) & 0xFF]) + raw


def packet(kind, body):
    """Return an MQTT 3.1.1 packet: its kind and flags, the remaining length, the body."""
    head = bytearray([kind])
    left = len(body)
    while True:
        left, digit = left >> 7, left & 0x7F
        head.append(digit | (0x80 if left else 0))
        if not left:
            return bytes(head) + body


class Publisher:
    """One MQTT 3.1.1 connection that publishes with QoS 1, one message at a time."""

    def __init__(self, settings):
        """Begin unconnected."""
        self._settings = settings
        self._socket = None
        self._number = 0
        self._sent_at = self._try_at = ticks_ms()
        self._wait_ms = 0

    def flush(self, spool, until):
        """Send packs until the spool is empty, the broker is away, or the time is up."""
        undated_too = not self._settings["time_server"]
        try:
            if self._socket is None and not self._connect():
                return
            while ticks_diff(until, ticks_ms()) > 0:
                pack = spool.pack(undated_too)
                if pack is None:
                    break
                self._publish(self._settings["topic"], pack, 0)
                spool.confirmed()
            if ticks_diff(ticks_ms(), self._sent_at) > KEEP_ALIVE_S * 500:
                self._send(packet(0xC0, b""))  # ping
                self._reply(0xD0)
        except (OSError, IndexError) as error:  # IndexError: a reply that is too short
            self._lost(error)

    def _connect(self):
        if ticks_diff(ticks_ms(), self._try_at) < self._wait_ms:
            return False
        self._try_at = ticks_ms()
        self._wait_ms = min(max(self._wait_ms * 2, RETRY_MS[0]), RETRY_MS[1])
        address = socket.getaddrinfo(self._settings["broker"], self._settings["port"])[0][-1]
        self._socket = socket.socket()
        self._socket.settimeout(REPLY_S)
        self._socket.connect(address)
        user, password = self._settings["username"], self._settings["password"]
        # Clean session; a retained will of QoS 1; user and password where they are given.
        flags = 0x2E | (0x80 if user else 0) | (0x40 if user and password else 0)
        body = text("MQTT") + bytes([4, flags, 0, KEEP_ALIVE_S])
        body += text(self._settings["client_id"]) + text(self._status) + text("offline")
        body += (text(user) if user else b"") + (text(password) if user and password else b"")
        self._send(packet(0x10, body))
        code = self._reply(0x20)[1]
        if code:
            raise OSError(f"the broker refuses with code {code}")
        self._publish(self._status, "online", 1)
        print("connected to", self._settings["broker"])
        self._wait_ms = 0
        return True

    @property
    def _status(self):
        return "status/" + self._settings["client_id"]

    def _publish(self, topic, payload, retain):
        self._number = self._number % 0xFFFF + 1
        number = bytes([self._number >> 8, self._number & 0xFF])
        self._send(packet(0x32 | retain, text(topic) + number + payload.encode()))
        if self._reply(0x40) != number:
            raise OSError("another message was confirmed")

    def _send(self, data):
        self._socket.sendall(data)
        self._sent_at = ticks_ms()

    def _reply(self, kind):
        """Return the body of the next packet of a kind; all that comes here is short."""
        while True:
            came, length = self._receive(2)
            body = self._receive(length)
            if came == kind:
                return body

    def _receive(self, size):
        data = b""
        while len(data) < size:
            part = self._socket.recv(size - len(data))
            if not part:
                raise OSError("the broker has gone")
            data += part
        return data

    def _lost(self, error):
        print("no connection:", error)
        if self._socket is not None:
            self._socket.close()
        self._socket = None
        self._wait_ms = max(self._wait_ms, RETRY_MS[0])
