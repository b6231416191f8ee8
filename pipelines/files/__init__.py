"""Types that `receive` passes to `check`: the original file and its pieces."""
