"""The plant file: its blocks, how it is read and checked, its calendar and its limits."""
