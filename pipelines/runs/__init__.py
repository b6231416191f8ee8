"""Summaries and records of runs."""
