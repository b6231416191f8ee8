"""Tags without a signal in the plant file, reported on first sight."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.base import sanitise
from pipelines.base.errors import Notice
from pipelines.base.receipts import Receipt
from pipelines.store import Store

NAME = "file.untied_tags"
_SHOWN = 5  # tags named in the sentence; the table has all

_NEW = """
SELECT u.tag, sum(u.value_count), min_by(l.file_name, l.received_seq)
FROM untied_tags u JOIN loads l USING (plant, load_id)
GROUP BY u.tag HAVING list_contains($loads, min_by(u.load_id, l.received_seq)) ORDER BY 2 DESC, 1
"""


def first_met(store: Store, receipts: Sequence[Receipt]) -> list[Notice]:
    """Return a notice of untied tags that no earlier load had; empty without any."""
    loads = [r.load_id for r in receipts]
    found = store.rows(_NEW, {"loads": loads}) if any(r.values_untied for r in receipts) else []
    if not found:
        return []
    told = ", ".join(f"{sanitise.name(tag)!r} ({count:,} values, {sanitise.name(file)})" for tag, count, file in found[:_SHOWN])
    more = f" and {len(found) - _SHOWN:,} more in the table untied_tags" if len(found) > _SHOWN else ""
    sentence = (
        f"{len(found):,} tag{'s' * (len(found) > 1)} without a [[signals]] block: {told}{more}; not read. "
        "Tie what is needed and run flocledger rebuild; list the others in the layout's ignore_columns"
    )
    return [Notice(NAME, sentence, {tag: int(count) for tag, count, _ in found})]
