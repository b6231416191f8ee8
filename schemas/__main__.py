"""`python -m schemas`: write the data dictionary page anew."""

from __future__ import annotations

from schemas import page

if __name__ == "__main__":
    page.write()
