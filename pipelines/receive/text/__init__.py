"""Delimited text: dialect, records, the raw record behind a line number."""
