# SPDX-License-Identifier: MIT
"""Names of series: what is allowed, and what a port or a topic becomes. Pure.

Source: RFC 8428 section 4.5.1 (seen in the author copy of July 2018): a name is made of A-Z, a-z,
0-9 and - : . / _ and starts with a letter or a digit. The ending "/checks" is kept free for the
path under which an instrument's checks are posted, and a name has at most 255 characters (rules of
this project).
"""

from __future__ import annotations

import re

_ALLOWED = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", re.ASCII)
_OTHER = re.compile(r"[^A-Za-z0-9\-:./_]", re.ASCII)
_SHOWN_CHARACTERS = 80

RESERVED_ENDING = "/checks"
LONGEST_NAME = 255


def plain(text: str) -> str:
    """Return text from outside as short printable text, fit to be stored and sent.

    Control characters and lone surrogates are written as escapes; at most 80 characters are kept.
    """
    text = text[: _SHOWN_CHARACTERS + 1].encode("utf-8", "backslashreplace").decode("utf-8")
    text = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)
    return text if len(text) <= _SHOWN_CHARACTERS else text[: _SHOWN_CHARACTERS - 1] + "…"


def shown(value: object) -> str:
    """Return what came from outside for a message: text between quotes, all else as it is."""
    return f"'{plain(value)}'" if isinstance(value, str) else plain(str(value))


def name_fault(name: str) -> str | None:
    """Return why `name` can't be the name of a series, or None if it can."""
    if not name:
        return "the name is empty"
    if len(name) > LONGEST_NAME:
        return f"the name {shown(name)} has {len(name)} characters, more than {LONGEST_NAME}"
    if _ALLOWED.fullmatch(name) is None:
        return (
            f"the name {shown(name)} must start with a letter or digit and hold only "
            "letters, digits and - : . / _"
        )
    if name.endswith(RESERVED_ENDING):
        return f"the name {shown(name)} may not end in {RESERVED_ENDING}"
    return None


def as_series(channel: str) -> str:
    """Return the series under which a frame of `channel` is kept when it can't be read.

    Args:
        channel: A port or a topic.

    Returns:
        The channel where it is a good name already, else the nearest one that is.

    Example:
        >>> as_series("/dev/serial/by-id/usb-scale 1")
        'dev/serial/by-id/usb-scale_1'
    """
    if name_fault(channel) is None:
        return channel
    name = _OTHER.sub("_", channel).lstrip("-:./_")[: LONGEST_NAME - 1] or "unnamed"
    return name + "_" if name.endswith(RESERVED_ENDING) else name


_PLACE = re.compile(r"\{([^{}]*)\}")


def template_fault(template: str) -> str | None:
    """Return why `template` can't make series names out of topics, or None if it can.

    A template is a name in which {topic} stands for the whole topic and {1}, {2} … for its
    levels.
    """
    for place in _PLACE.findall(template):
        if place != "topic" and not re.fullmatch(r"[1-9][0-9]?", place, re.ASCII):
            return f"{{{place}}} is not known; use {{topic}} or {{1}}, {{2}} … for its levels"
    plain = _PLACE.sub("x", template)
    return name_fault(plain)


def series_of(template: str, channel: str) -> str:
    """Return the series that `template` makes of a topic; the result may be no good name.

    Example:
        >>> series_of("{2}/milk", "kitchen/north/temperature")
        'north/milk'
    """
    levels = channel.split("/")

    def fill(match: re.Match[str]) -> str:
        place = match.group(1)
        if place == "topic":
            return channel
        number = int(place)
        return levels[number - 1] if number <= len(levels) else ""

    return _PLACE.sub(fill, template)
