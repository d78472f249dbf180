# SPDX-License-Identifier: MIT
"""Pairing: the token that was printed at start becomes a cookie of this device."""

from __future__ import annotations

import hmac

from fastapi import APIRouter, Request, Response

from api.access import COOKIE
from api.answers import Json
from api.problems import ProblemError
from api.schemas import PairBody

router = APIRouter(prefix="/v1", tags=["access"])

_A_YEAR_S = 365 * 24 * 3600


@router.post("/pair", summary="Pair this device")
async def pair(body: PairBody, request: Request) -> Response:
    """Send the token from the pairing address; the answer sets a cookie."""
    token: str = request.app.state.token
    gate = request.app.state.pairing_gate
    if not gate.try_once():
        raise ProblemError(
            429, "Too many tries in a short time.", where="token", do="Wait a minute."
        )
    if not hmac.compare_digest(body.token.strip().encode(), token.encode()):
        raise ProblemError(
            403,
            "This is not the kitchen's token.",
            where="token",
            do="Take it from the pairing address that was printed at start.",
        )
    gate.reset()
    answer = Json({"paired": True})
    answer.set_cookie(COOKIE, token, max_age=_A_YEAR_S, httponly=True, samesite="strict", path="/")
    return answer
