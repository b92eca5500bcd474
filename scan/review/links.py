"""Links as QR codes: for the laptop's page as SVG, for the terminal in half blocks."""

from __future__ import annotations

import io
from typing import Any

QUIET_MODULES = 4  # ISO/IEC 18004


def links_json(page: str, phone: str | None) -> dict[str, Any]:
    """Return the published JSON of the links of a page that was opened (`review --json`)."""
    return {"schema": 1, "page": page, "phone": phone}


def qr_svg(link: str) -> str:
    """Return the QR code of a link as an SVG element, black on white in any colour scheme."""
    import segno

    out = io.BytesIO()
    symbol = segno.make(link, error="m", micro=False)
    symbol.save(
        out, kind="svg", border=QUIET_MODULES, dark="#000", light="#fff", xmldecl=False, svgns=True,
        omitsize=True, title="QR code of the link", svgclass="qr", lineclass=None,
    )  # fmt: skip
    return out.getvalue().decode("utf-8")


def qr_text(link: str) -> str:
    """Return the QR code of a link in block characters for a terminal."""
    import segno

    out = io.StringIO()
    segno.make(link, error="l", micro=False).terminal(out, border=2, compact=True)
    return out.getvalue()
