"""`python -m schemas`: write the data dictionary page anew, and the SQL that follows from the declarations of the KPIs."""

from __future__ import annotations

from schemas import page
from schemas.kpis import sql_text

if __name__ == "__main__":
    page.write()
    sql_text.write()
