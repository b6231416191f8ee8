"""What `receive` hands to `check`: the original file and its pieces."""
