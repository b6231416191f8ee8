"""Interpretation of records: header, long, wide and lab layouts, several tables in one file."""
