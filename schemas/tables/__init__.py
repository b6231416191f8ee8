"""One module a table: columns, types, units, descriptions, ranges."""
