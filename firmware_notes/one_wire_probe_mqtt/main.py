# SPDX-License-Identifier: MIT
"""A one-wire probe that says what it measures over MQTT: main.py of a MicroPython board.

Runs as it is on a board, and at a desk under CPython or the unix port of MicroPython with the two
stand-ins in `desk/`. What it is set to stands in `probe.json` beside it. It imports only what the
boards have. Wiring, settings and frames: one_wire_probe_mqtt.md.
"""

import binascii
import json
import os
import socket
import time

import machine
import onewire

try:
    from time import ticks_diff, ticks_ms
except ImportError:  # CPython has no ticks

    def ticks_ms():
        """Return milliseconds that never go back."""
        return int(time.monotonic() * 1000)

    def ticks_diff(later, earlier):
        """Return how many milliseconds lie between two ticks."""
        return later - earlier


SETTINGS = {
    "broker": "127.0.0.1",
    "port": 1883,
    "client_id": "probe-north",
    "username": "",
    "password": "",
    "topic": "kitchen/probes/north",
    "series": "north/milk",
    "pin": 4,
    "interval_ms": 2000,
    "conversion_ms": 750,
    "spool": 600,
    "time_server": "",
    "wifi_name": "",
    "wifi_password": "",
}
RECORDS_IN_A_PACK = 20
REPLY_S = 2
KEEP_ALIVE_S = 30
RETRY_MS = (1000, 30000)
CLOCK_TRY_MS = 30000
EPOCH_MS = 946684800000 if time.gmtime(0)[0] == 2000 else 0  # some boards count from 2000
SET_AFTER_MS = 1704067200000  # 2024: a clock before that has not been set


def wall_ms():
    """Return milliseconds since 1970 UTC, None while the clock has not been set."""
    fine = hasattr(time, "time_ns")
    now = EPOCH_MS + (time.time_ns() // 1000000 if fine else int(time.time()) * 1000)
    return now if now > SET_AFTER_MS else None


def decimal(number, digits):
    """Return number / 10**digits as text, without a float: many boards have only 32 bits of it."""
    scale = 10**digits
    sign = "-" if number < 0 else ""
    after_point = ("0" * digits + str(abs(number) % scale))[-digits:]
    return sign + str(abs(number) // scale) + "." + after_point


class Probe:
    """One thermometer alone on its wire."""

    def __init__(self, pin):
        """Take the wire at a pin, which needs its 4.7 kilohm to 3.3 V."""
        self._wire = onewire.OneWire(machine.Pin(pin))

    def start(self):
        """Begin a conversion; return whether anything is on the wire."""
        if not self._wire.reset():
            return False
        self._wire.writebyte(0xCC)  # whoever is there
        self._wire.writebyte(0x44)  # convert
        return True

    def read(self):
        """Return what the probe says: a SenML value, or as text why there is none."""
        if not self._wire.reset():
            return '"vs":"nothing answers on the wire"'
        self._wire.writebyte(0xCC)
        self._wire.writebyte(0xBE)  # read the scratchpad
        pad = bytearray(9)
        self._wire.readinto(pad)
        said = binascii.hexlify(pad).decode()
        if not any(pad):
            return f'"vs":"wire shorted: {said}"'
        if self._wire.crc8(pad):
            return f'"vs":"wrong check sum: {said}"'
        register = pad[1] << 8 | pad[0]
        undefined = 3 - (pad[4] >> 5 & 3)  # low bits without a meaning below 12 bit
        register = register >> undefined << undefined
        sixteenths = register - 0x10000 if register & 0x8000 else register
        return '"v":' + decimal(sixteenths * 625, 4)


class Spool:
    """Samples that nobody has confirmed yet, oldest first."""

    def __init__(self, series, most):
        """Begin empty; `boot` tells one start of the board from the next."""
        self.boot = binascii.hexlify(os.urandom(4)).decode()
        self.samples = []
        self._series = series
        self._most = most
        self._sequence = 0
        self._pending = None  # the pack that is under way, so that it is sent again unchanged

    def add(self, ticks, at_ms, said):
        """Keep one sample; when full, the oldest goes, and its number is missing for ever."""
        self._sequence += 1
        self.samples.append((ticks, at_ms, self._sequence, said))
        if len(self.samples) > self._most:
            self.samples.pop(0)
            self._pending = None
            print("spool full: one sample lost")

    def pack(self, undated_too):
        """Return the next SenML pack, None if there is nothing that can be sent."""
        if self.samples and (self._pending is None or not self._pending[2]):
            self._pending = self._build(undated_too)
        return self._pending[0] if self._pending else None

    def confirmed(self):
        """Forget the samples of the pack that was confirmed."""
        del self.samples[: self._pending[1]]
        self._pending = None

    def _build(self, undated_too):
        """Return a pack, how many samples it holds, and whether all of them have a date."""
        records, dated = [], True
        now_ms, now = wall_ms(), ticks_ms()
        for ticks, at_ms, number, said in self.samples[:RECORDS_IN_A_PACK]:
            age_ms = ticks_diff(now, ticks)
            if at_ms is None and now_ms is not None:
                at_ms = now_ms - age_ms
            if at_ms is None:
                if not undated_too:
                    return None
                at_ms, dated = -age_ms, False
            records.append(f'"t":{decimal(at_ms, 3)},{said},"seq":{number}}}')
        head = f'[{{"bn":"{self._series}","bu":"Cel","boot":"{self.boot}",'
        return head + ",\n{".join(records) + "]", len(records), dated


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


class Board:
    """The network and the clock of the board; at a desk both are there already."""

    def __init__(self, settings):
        """Try both at once."""
        self._settings = settings
        self._tried_at = None

    def tend(self):
        """Join the network and set the clock, as long as that is missing, now and then."""
        if self._tried_at is not None and ticks_diff(ticks_ms(), self._tried_at) < CLOCK_TRY_MS:
            return
        self._tried_at = ticks_ms()
        try:
            self._join()
            if self._settings["time_server"] and wall_ms() is None:
                import ntptime

                ntptime.host = self._settings["time_server"]
                ntptime.settime()
        except (ImportError, OSError) as error:
            print("network or clock:", error)

    def _join(self):
        if not self._settings["wifi_name"]:
            return
        import network

        wlan = network.WLAN(network.STA_IF)
        wlan.active(True)
        if not wlan.isconnected():
            wlan.connect(self._settings["wifi_name"], self._settings["wifi_password"])


def run(settings):
    """Measure and publish for ever; measuring goes on while the broker is away."""
    board, probe = Board(settings), Probe(settings["pin"])
    spool, publisher = Spool(settings["series"], settings["spool"]), Publisher(settings)
    print("boot", spool.boot, "series", settings["series"])
    while True:
        began = ticks_ms()
        board.tend()
        began_wall_ms = wall_ms()
        converting = ticks_ms()
        present = probe.start()
        publisher.flush(spool, converting + settings["conversion_ms"])
        sleep_until(converting, settings["conversion_ms"])
        said = probe.read() if present else '"vs":"nothing answers on the wire"'
        at_ms = None if began_wall_ms is None else began_wall_ms + settings["conversion_ms"]
        spool.add(converting + settings["conversion_ms"], at_ms, said)
        publisher.flush(spool, began + settings["interval_ms"])
        sleep_until(began, settings["interval_ms"])


def sleep_until(start, length_ms):
    """Sleep until so many milliseconds after a tick; not at all if that is over."""
    left_ms = length_ms - ticks_diff(ticks_ms(), start)
    if left_ms > 0:
        time.sleep(left_ms / 1000)


def load_settings():
    """Return the settings: those of probe.json over the ones above."""
    settings = dict(SETTINGS)
    try:
        with open("probe.json") as file:
            settings.update(json.load(file))
    except OSError:
        print("no probe.json: the settings of main.py hold")
    return settings


if __name__ == "__main__":
    run(load_settings())
