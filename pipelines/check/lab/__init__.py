"""Lab sheets: words, units, sample times, plausibility, revisions."""
