"""What a file can be packed in: gzip, ZIP archives, workbooks."""
