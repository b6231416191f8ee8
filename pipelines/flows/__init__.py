"""Prefect flows around `order`: thin, and the only importers of prefect.

The switches below must stand before prefect is imported anywhere: no telemetry of client or server.
"""

import os

os.environ.setdefault("DO_NOT_TRACK", "1")
os.environ.setdefault("PREFECT_SERVER_ANALYTICS_ENABLED", "false")
