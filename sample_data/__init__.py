"""Invented plants with known truth. No real facility, person or brand is meant; shares no code with the pipeline."""
