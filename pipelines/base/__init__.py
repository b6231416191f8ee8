"""Ground floor without plants or tables: errors and exit codes, the clock, paths, units, receipts, sanitised text."""
