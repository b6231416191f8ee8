"""Corrections and decisions applied to readings and lab results."""

from pipelines.check.corrections.register import is_needed, run

__all__ = ["is_needed", "run"]
