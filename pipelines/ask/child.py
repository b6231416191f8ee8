"""Answer one statement in a process of its own, which can be ended whatever the statement does.

Some functions (a padded `format`, `printf`, `bitstring`) cannot be interrupted in their middle and pass every limit of the database.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.base.errors import DataMissingError, FlocledgerError, UsageError

if TYPE_CHECKING:
    import polars as pl

START_S = 120.0  # Python and its libraries, on a loaded machine
GRACE_S = 1.0  # beyond the time asked for, in which the statement is interrupted and says so itself
_READY = b"ready\n"
_ERRORS: dict[str, type[FlocledgerError]] = {"UsageError": UsageError, "DataMissingError": DataMissingError}


def run(database: Path, sql: str, parameters: dict[str, str], *, seconds: float, parquet: Path | None = None) -> pl.DataFrame:
    """Return the rows of one SELECT on the published file, answered in another process.

    UsageError and DataMissingError as `sandbox.run` has them; UsageError when the process had to be ended.
    """
    import io

    import polars as pl

    request = json.dumps(
        {"database": str(database), "sql": sql, "parameters": parameters, "seconds": seconds, "parquet": str(parquet or "")}
    ).encode()
    command = [sys.executable, "-m", "pipelines.ask.child"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            if process.stdout.readline() == _READY:
                answer, said = process.communicate(request, timeout=seconds + GRACE_S)
            else:
                answer, said = process.communicate(timeout=START_S)
        except subprocess.TimeoutExpired:
            process.kill()
            raise UsageError(
                f"the statement took longer than {seconds:g} s and was stopped: a function in it makes one very large value",
                remedy="leave out padding and repetition; narrow the days, or raise --seconds",
            ) from None
    if process.returncode == 0:
        return pl.read_ipc_stream(io.BytesIO(answer))
    raise _error(said, process.returncode)


def _error(said: bytes, code: int) -> Exception:
    """Return the error that the other process reported; one of its own when it died without a word."""
    try:
        told = json.loads(said.splitlines()[-1])
        return _ERRORS.get(told["kind"], FlocledgerError)(told["message"], remedy=told["remedy"])
    except (IndexError, ValueError, KeyError, TypeError):
        return UsageError(f"the statement was ended by the system (code {code}): it needs too much memory", remedy="narrow the statement")


def main() -> int:
    """Read one request from standard input and write its answer to standard output; errors as JSON to standard error."""
    from pipelines.ask import sandbox

    sys.stdout.buffer.write(_READY)
    sys.stdout.buffer.flush()
    request = json.loads(sys.stdin.buffer.read())
    try:
        parquet = Path(request["parquet"]) if request["parquet"] else None
        found = sandbox.run(Path(request["database"]), request["sql"], request["parameters"], seconds=request["seconds"], parquet=parquet)
    except FlocledgerError as error:
        kind = next((name for name, one in _ERRORS.items() if isinstance(error, one)), "FlocledgerError")
        sys.stderr.write(json.dumps({"kind": kind, "message": error.args[0], "remedy": error.remedy}))
        return int(error.exit_code)
    found.write_ipc_stream(sys.stdout.buffer)
    return 0


if __name__ == "__main__":
    sys.exit(main())
