"""Containers: gzip, ZIP archives, workbooks."""
