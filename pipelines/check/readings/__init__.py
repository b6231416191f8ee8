"""Values of exports: signal, number, state, unit, quality, range, duplicates."""
