"""What all tests share: generated examples are never failed for being slow."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("curdwright", deadline=None)
settings.load_profile("curdwright")
