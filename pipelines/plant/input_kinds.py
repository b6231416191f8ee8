"""Kinds of input and what each requires of its layout and of a file's header; `receive.shapes.kinds` reads them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

KindName = Literal["long", "wide", "lab long", "lab wide"]


@dataclass(frozen=True)
class InputKind:
    """One kind of input. `required` and `header` are keys of a layout that name columns."""

    name: KindName
    is_lab: bool
    has_a_column_a_value: bool  # wide: values are known by the names of their columns
    required: tuple[str, ...]  # keys that the layout must give
    header: tuple[str, ...]  # keys whose columns must stand in the header, beside date and time
    fills_down: bool = False  # a blank date means the one above it, unless the layout says otherwise


KINDS: dict[KindName, InputKind] = {
    kind.name: kind
    for kind in (
        InputKind("long", False, False, ("tag_column", "value_column"), ("entity_column", "tag_column", "value_column", "quality_column")),
        InputKind("wide", False, True, (), ("entity_column",)),
        InputKind(
            "lab long",
            True,
            False,
            ("point_column", "analyte_column", "result_column"),
            ("point_column", "analyte_column", "result_column"),
        ),
        InputKind("lab wide", True, True, ("results",), ("line_column",), fills_down=True),
    )
}
