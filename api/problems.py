# SPDX-License-Identifier: MIT
"""One problem form for every error (RFC 9457): what happened, where, and what to do."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from http import HTTPStatus
from typing import Any

import orjson
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from collector.errors import (
    CurdwrightError,
    FrameError,
    ProcessError,
    RecordConflictError,
    RecordError,
    StoreError,
    UnitError,
    UnknownRecordError,
)

logger = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
_STATUS: tuple[tuple[type[CurdwrightError], int], ...] = (
    (UnknownRecordError, 404),
    (RecordConflictError, 409),
    (FrameError, 400),
    (RecordError, 422),
    (UnitError, 422),
    (ProcessError, 422),
    (StoreError, 503),
)


class ProblemError(CurdwrightError):
    """An error of the HTTP interface itself, with its status."""

    def __init__(self, status: int, what: str, *, where: str = "", do: str = "") -> None:
        self.status = status
        super().__init__(what, where=where, do=do)


def problem(
    status: int,
    what: str,
    *,
    where: str = "",
    do: str = "",
    faults: Sequence[dict[str, str]] = (),
) -> Response:
    """Return the answer that carries one problem.

    Args:
        status: The HTTP status.
        what: What happened, with value and unit.
        where: The field, batch, series … that it concerns.
        do: What to do about it.
        faults: Each fault of a body, with its place.
    """
    content: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": what,
    }
    if where:
        content["where"] = where
    if do:
        content["do"] = do
    if faults:
        content["faults"] = list(faults)
    return Response(orjson.dumps(content), status, media_type=MEDIA_TYPE)


def status_of(error: CurdwrightError) -> int:
    """Return the HTTP status for an error of the family."""
    if isinstance(error, ProblemError):
        return error.status
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 500)


def install(app: FastAPI) -> None:
    """Make every error of an app come in the one form."""
    app.add_exception_handler(CurdwrightError, _of_family)
    app.add_exception_handler(RequestValidationError, _of_body)
    app.add_exception_handler(HTTPException, _of_http)
    app.add_exception_handler(Exception, _unforeseen)


def _of_family(_request: Request, error: Exception) -> Response:
    assert isinstance(error, CurdwrightError)
    return problem(status_of(error), error.what, where=error.where, do=error.do)


def _of_body(_request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    faults = [
        {
            "where": ".".join(str(part) for part in fault["loc"]),
            "what": str(fault["msg"]).removeprefix("Value error, "),
        }
        for fault in error.errors()
    ]
    first = faults[0]
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    return problem(
        422,
        f"{first['what']}{more}",
        where=first["where"],
        do="Compare the body with the example in /openapi.json.",
        faults=faults,
    )


def _of_http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    do = {
        404: "Compare the path with /openapi.json.",
        405: "Compare the method with /openapi.json.",
    }.get(error.status_code, "")
    response = problem(error.status_code, str(error.detail), where=request.url.path, do=do)
    response.headers.update(error.headers or {})
    return response


def _unforeseen(request: Request, error: Exception) -> Response:
    logger.exception("unforeseen error", extra={"path": request.url.path}, exc_info=error)
    return problem(
        500,
        f"Something went wrong inside ({type(error).__name__}).",
        where=request.url.path,
        do="Nothing that was acknowledged is lost. Try again; the program's log says more.",
    )
