"""The weekly page: what it reads, its facts, charts and PDF."""
