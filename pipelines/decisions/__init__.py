"""Decisions of people on set-aside rows and flags: the file that holds them, and how one is made."""
