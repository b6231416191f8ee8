"""Values of tags without a signal: counted by tag, once a file, and left out."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines.check.readings.signals import Signals
from pipelines.plant.model import Layout
from pipelines.store import Store
from schemas import TABLES

_SCHEMA = {"tag": pl.String, "value_count": pl.Int64, "first_line_no": pl.Int64}


@dataclass
class Untied:
    """The untied tags of one file: tag -> (values, line of the first). `values` counts those the layout ignores too."""

    values: int = 0
    tags: dict[str, tuple[int, int]] = field(default_factory=dict)

    def take(self, found: pl.DataFrame) -> None:
        """Count the untied values of a chunk: tag, value_count, first_line_no, is_ignored."""
        for tag, count, line, is_ignored in found.iter_rows():
            self.values += count
            if not is_ignored:
                before = self.tags.get(tag, (0, line))
                self.tags[tag] = (before[0] + count, min(before[1], line))

    def write(self, store: Store, load_id: str) -> None:
        """Write one row a tag."""
        if not self.tags:
            return
        rows = [(tag, *counts) for tag, counts in sorted(self.tags.items())]
        frame = pl.DataFrame(rows, schema=_SCHEMA, orient="row").select(
            pl.lit(store.plant).alias("plant"), pl.lit(load_id).alias("load_id"), *_SCHEMA
        )
        store.append("untied_tags", frame.select(TABLES["untied_tags"].column_names))


def parted(values: pl.DataFrame, signals: Signals, layout: Layout) -> tuple[pl.DataFrame, NDArray[np.uint32], pl.DataFrame | None]:
    """Return (values of tied tags, numbers of their tags, counts of the untied values or None).

    A value without a readable time or without a tag is handled with its row.
    """
    codes = signals.codes(values["tag"])
    if not len(codes) or codes.max() < len(signals.tags):
        return values, codes, None
    is_untied = pl.Series(codes == len(signals.tags))
    is_untied &= values["time_utc"].is_not_null() & (values["tag"].cast(pl.String).fill_null("") != "")
    found = (
        values.filter(is_untied)
        .group_by(pl.col("tag").cast(pl.String), maintain_order=True)
        .agg(value_count=pl.len().cast(pl.Int64), first_line_no=pl.col("line_no").min().cast(pl.Int64))
        .with_columns(is_ignored=pl.col("tag").is_in([name.strip() for name in layout.ignore_columns]))
    )
    return values.filter(~is_untied), codes[~is_untied.to_numpy()], found
