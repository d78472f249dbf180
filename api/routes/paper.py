# SPDX-License-Identifier: MIT
"""The record of a batch as a PDF of two sheets."""

from __future__ import annotations

import base64
import re

from fastapi import APIRouter, Request, Response

from api import page_data
from api.kitchen import Kitchen, KitchenHere
from api.paper import pdf_of
from api.photos.files import PhotoFiles
from api.photos.picture import SMALL_PX, made_safe
from api.proposals.service import Proposing
from api.routes.page_answer import common_data
from dashboards.assets import static_folder
from dashboards.render import render

router = APIRouter(prefix="/v1/batches", tags=["analysis"])
_PHOTO = re.compile(r'src="/v1/batches/[^"]+/photos/([0-9a-f]{64})\?small=true"')


@router.get("/{batch_id}/record.pdf", summary="The record as PDF")
def read_record_pdf(batch_id: str, request: Request, kitchen: KitchenHere) -> Response:
    """As the browser prints the record; 501 where no Chromium is on the server's machine."""
    proposing: Proposing = request.app.state.proposing
    data = page_data.record(kitchen, batch_id, proposing.known(batch_id))
    page = render("record", {**common_data(request, kitchen), **data})
    return Response(
        pdf_of(_with_photos(kitchen, page), static_folder()),
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="record-{batch_id[:8]}.pdf"'},
    )


def _with_photos(kitchen: Kitchen, page: str) -> str:
    """Return a page with its photos inside."""
    files = PhotoFiles(kitchen.data_dir)

    def inside(found: re.Match[str]) -> str:
        small = made_safe(files.read(found[1]), longest_px=SMALL_PX).jpeg
        return f'src="data:image/jpeg;base64,{base64.b64encode(small).decode("ascii")}"'

    return _PHOTO.sub(inside, page).replace(' loading="lazy"', "")
