"""Typesetting: a template and its data to PDF/UA-1 and PDF/A-2a, the same bytes for the same input on every host."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any, Literal

import typst

from pipelines.base import resources
from pipelines.report import style

STANDARDS: list[Literal["ua-1", "a-2a"]] = ["ua-1", "a-2a"]  # asserted by the compiler: tags, alt texts, title, language, embedded fonts
# `false` is the default of this key (ISO 32000-1 14.7.1) and poppler up to 22.12 complains of it; spaces keep every offset of the file.
_SUSPECTS = b"/Suspects false"


def pdf(template: str, data: dict[str, Any], known_utc: datetime) -> bytes:
    """Return the PDF of `pipelines/report/<template>` filled with `data` (JSON); the time of the data stands for the time of making."""
    folder = resources.folder("pipelines.report")
    made: bytes = typst.compile(
        str(folder / template),
        root=str(folder),
        sys_inputs={"data": json.dumps(data)},
        ignore_system_fonts=True,
        font_paths=[str(style.fonts())],
        pdf_standards=[*STANDARDS],
        timestamp=int(known_utc.timestamp()),
    )
    return made.replace(_SUSPECTS, b" " * len(_SUSPECTS))
