# SPDX-License-Identifier: MIT
"""How fast cooked food must be chilled, by jurisdiction: limits as data, each with its source.

Pure: no I/O; imports only the ground and what is pure.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.process.ingredient_rows import Status
from collector.errors import ProcessError


@dataclass(frozen=True, slots=True)
class ChillLimit:
    """One leg of a rule.

    Attributes:
        to_degc: Temperature to be reached [degC].
        within_s: Time for it, from the start of the clock [s].
    """

    to_degc: float
    within_s: float


@dataclass(frozen=True, slots=True)
class ChillRule:
    """A rule for chilling.

    Attributes:
        name: What it is called.
        jurisdiction: Where it holds.
        start_degc: The clock starts at the last fall through this [degC]; None where it starts
            with the food's making.
        limits: Its legs, each counted from the start of the clock.
        source: Where it stands.
        status: How it is known; only what was seen decides a verdict.
    """

    name: str
    jurisdiction: str
    start_degc: float | None
    limits: tuple[ChillLimit, ...]
    source: str
    status: Status

    def __post_init__(self) -> None:
        if not self.limits or any(limit.within_s <= 0 for limit in self.limits):
            raise ProcessError(
                f"{len(self.limits)} limits, or one without a time.",
                where=f"chill rule {self.name}",
                do="Give at least one temperature with a time above 0.",
            )
        if self.start_degc is not None:
            warm = [limit.to_degc for limit in self.limits if limit.to_degc >= self.start_degc]
            if warm:
                raise ProcessError(
                    f"A limit of {warm[0]:g} degC is not below {self.start_degc:g} degC.",
                    where=f"chill rule {self.name}",
                    do="Give limits below the start.",
                )


US_TWO_STAGE = ChillRule(
    name="two stages, 57 to 21 degC in 2 h and to 5 degC in 6 h",
    jurisdiction="United States, where a state has adopted the model Food Code",
    start_degc=57.0,
    limits=(ChillLimit(21.0, 7200.0), ChillLimit(5.0, 21_600.0)),
    source="FDA Food Code 3-501.14(A), as adopted in 16 Delaware Admin. Code 3-501.14",
    status=Status.SEEN,
)
US_FROM_ROOM_TEMPERATURE = ChillRule(
    name="made from ingredients at room temperature, to 5 degC in 4 h",
    jurisdiction="United States, where a state has adopted the model Food Code",
    start_degc=None,
    limits=(ChillLimit(5.0, 14_400.0),),
    source="FDA Food Code 3-501.14(B), as adopted in 16 Delaware Admin. Code 3-501.14",
    status=Status.SEEN,
)
UK_ADVICE = ChillRule(
    name="advice: to 8 degC within 90 min",
    jurisdiction="England, Wales and Northern Ireland; advice, the law gives no number",
    start_degc=63.0,
    limits=(ChillLimit(8.0, 5400.0),),
    source="advice to food businesses, as reported",
    status=Status.SECOND_HAND,
)
CODEX_PRECOOKED = ChillRule(
    name="precooked food, 60 to 10 degC in 2 h",
    jurisdiction="Codex Alimentarius, a code of practice",
    start_degc=60.0,
    limits=(ChillLimit(10.0, 7200.0),),
    source="Codex CXC 39-1993",
    status=Status.FROM_MEMORY,
)
CHILL_RULES = (US_TWO_STAGE, US_FROM_ROOM_TEMPERATURE, UK_ADVICE, CODEX_PRECOOKED)
