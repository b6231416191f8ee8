"""Integrity of the meters: each line's witnesses joined into one statement by role and reporting week."""
