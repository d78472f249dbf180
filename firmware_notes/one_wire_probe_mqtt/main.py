# SPDX-License-Identifier: MIT
"""A one-wire probe that says what it measures over MQTT: main.py of a MicroPython board.

Runs as it is on a board, and at a desk under CPython or the unix port of MicroPython with the two
stand-ins in `desk/`. What it is set to stands in `probe.json` beside it. It imports `clock.py` and
`publisher.py` beside it, and else only what the boards have. Wiring, settings and frames:
one_wire_probe_mqtt.md.
"""

import binascii
import json
import os

import machine
import onewire
from clock import sleep_until, ticks_diff, ticks_ms, wall_ms
from publisher import Publisher

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
CLOCK_TRY_MS = 30000


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
