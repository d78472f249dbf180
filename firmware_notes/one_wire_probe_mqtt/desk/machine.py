# SPDX-License-Identifier: MIT
"""Stands in for the board's `machine` where main.py runs at a desk."""


class Pin:
    """A pin that is only a number."""

    def __init__(self, number):
        """Take its number."""
        self.number = number
