# SPDX-License-Identifier: MIT
"""The one door to simulated batches: plans, the playing of them, and random ones.

Imports numpy. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

from collector.instruments.simulated.chance import random_scenario
from collector.instruments.simulated.fern_lane import fern_lane
from collector.instruments.simulated.outfit import Outfit, Sampling, Trouble
from collector.instruments.simulated.plan import (
    Chilling,
    Forming,
    Heating,
    Pour,
    Preparation,
    Scenario,
    Standing,
    Stirring,
    Target,
)
from collector.instruments.simulated.play import Played, Weighed, play
from collector.instruments.simulated.samples import Samples
from collector.instruments.simulated.truth import HoldTruth, PourTruth, Trace, Truth

__all__ = [
    "Chilling",
    "Forming",
    "Heating",
    "HoldTruth",
    "Outfit",
    "Played",
    "Pour",
    "PourTruth",
    "Preparation",
    "Samples",
    "Sampling",
    "Scenario",
    "Standing",
    "Stirring",
    "Target",
    "Trace",
    "Trouble",
    "Truth",
    "Weighed",
    "fern_lane",
    "play",
    "random_scenario",
]
