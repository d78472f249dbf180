# SPDX-License-Identifier: MIT
"""Simulated pots with physics of their own, and virtual instruments that speak of them."""
