"""Prefect flows around `order`: thin, and the only importers of prefect.

The switches below must stand before prefect is imported anywhere: no telemetry of client or server, no chatter of Dask.
"""

import os

os.environ.setdefault("DO_NOT_TRACK", "1")
os.environ.setdefault("PREFECT_SERVER_ANALYTICS_ENABLED", "false")
os.environ.setdefault("DASK_LOGGING__DISTRIBUTED", "error")  # its chatter on stopping workers says nothing of a run
