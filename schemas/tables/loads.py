"""One row a file taken in or refused whole: its identity and its balanced receipt."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="loads",
    description="Every file that came in, by content hash, with its balanced row counts; a ZIP archive has a row without rows beside those of its members.",
    grain="plant and load (one distinct file content)",
    key=("plant", "load_id"),
    step="check",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("load_id", "text", "-", "first 16 hex digits of the SHA-256 of the file's bytes", nullable=False),
        Column("sha256", "text", "-", "SHA-256 of the file's bytes", nullable=False),
        Column("file_name", "text", "-", "name of the file in the inbox; of a member of an archive: archive.zip/member", nullable=False),
        Column(
            "archived_as",
            "text",
            "-",
            "name of the untouched original below the archive of the plant; of a member the name of its archive, then its own",
            nullable=False,
        ),
        Column(
            "reads_as",
            "text",
            "-",
            "digest of what the plant file said of reading files when this one was taken in; null for an archive itself",
        ),
        Column("file_bytes", "bigint", "byte", "size of the file", nullable=False, ge=0),
        Column(
            "layout",
            "text",
            "-",
            "id of the layout block that read it; several, in order, for a file of several tables; null when none did",
        ),
        Column("reader", "text", "-", "which reader served: fast, exact, or null when none did", isin=("fast", "exact")),
        Column("received_utc", "instant", "-", "when it was taken in", nullable=False),
        Column("received_seq", "int", "-", "order of receipt in this plant, from 1; a rebuild keeps it", nullable=False, ge=1),
        Column(
            "version",
            "int",
            "-",
            "1 for a file name seen first, 2 when the same name came with new content, and so on",
            nullable=False,
            ge=1,
        ),
        Column("status", "text", "-", "taken, or set aside (the whole file)", nullable=False, isin=("taken", "set aside")),
        Column("reason", "text", "-", "why the whole file was set aside; null when taken"),
        Column("detail", "text", "-", "what exactly was wrong, for a person"),
        Column("first_utc", "instant", "-", "earliest time of its readings; null for lab sheets"),
        Column("last_utc", "instant", "-", "latest time of its readings; null for lab sheets"),
        Column("rows_read", "bigint", "row", "rows read = kept + duplicate + dropped + set aside", nullable=False, ge=0),
        Column("rows_kept", "bigint", "row", "rows of which at least one value was kept", nullable=False, ge=0),
        Column("rows_duplicate", "bigint", "row", "rows that say only what is known already", nullable=False, ge=0),
        Column(
            "rows_dropped",
            "bigint",
            "row",
            "title, header, unit, blank and footer rows, rows of untied tags only, and rows without a value: every cell blank or a fill value of good quality",
            nullable=False,
            ge=0,
        ),
        Column("rows_set_aside", "bigint", "row", "rows set aside whole", nullable=False, ge=0),
        Column("rows_exact", "bigint", "row", "of the rows read, those that needed the exact reader", nullable=False, ge=0),
        Column("values_read", "bigint", "value", "non-blank values read = kept + duplicate + set aside + untied", nullable=False, ge=0),
        Column("values_kept", "bigint", "value", "values kept as readings or results", nullable=False, ge=0),
        Column("values_duplicate", "bigint", "value", "values known already", nullable=False, ge=0),
        Column("values_set_aside", "bigint", "value", "values set aside", nullable=False, ge=0),
        Column("values_untied", "bigint", "value", "values of tags that are no signals of the plant file: see untied_tags", ge=0),
        Column(
            "values_superseded",
            "bigint",
            "value",
            "of the values kept, those in readings_history: at their tag and time another version stands, by better quality or later receipt; "
            "as counted when the file came in",
            ge=0,
        ),
    ),
)
