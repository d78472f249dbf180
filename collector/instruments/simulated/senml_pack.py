# SPDX-License-Identifier: MIT
"""Readings of virtual instruments as SenML packs (RFC 8428), as a device would write them.

Pure: standard library only. Must not import `api` nor the decoder that reads such packs.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

from collector.instruments.simulated.channels import Said
from collector.instruments.simulated.pty_door import decimals_of


def senml_pack(said: Sequence[tuple[int, Said]], boot: str) -> bytes:
    """Return a pack of readings of one or several series.

    `boot` and `seq` are labels of our own, which RFC 8428 section 4.4 lets others ignore.

    Args:
        said: Running numbers and readings; one without a value is written as the text "overload".
        boot: The device's boot id.

    Example:
        >>> said = Said("milk", "north/milk", 1767254400250, 82.1875, "Cel", 0.0625)
        >>> senml_pack([(7, said)], "a")
        b'[{"boot":"a","n":"north/milk","u":"Cel","t":1767254400.250,"seq":7,"v":82.1875}]'
    """
    records = []
    for index, (sequence, reading) in enumerate(said):
        head = f'"boot":{json.dumps(boot)},' if index == 0 else ""
        name, unit = json.dumps(reading.series), json.dumps(reading.unit)
        seconds, ms = divmod(reading.time_ms, 1000)
        value = '"vs":"overload"'
        if reading.value is not None:
            value = f'"v":{reading.value:.{decimals_of(reading.step)}f}'
        time = f'"t":{seconds}.{ms:03d}'
        records.append(f'{{{head}"n":{name},"u":{unit},{time},"seq":{sequence},{value}}}')
    return f"[{','.join(records)}]".encode()
