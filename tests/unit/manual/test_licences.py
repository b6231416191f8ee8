"""Every dependency is named in the manual, and everything it brings has a permissive licence."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import PackageNotFoundError, metadata, requires
from pathlib import Path

from pipelines import manual

ROOT = Path(__file__).resolve().parents[3]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PERMISSIVE = re.compile(
    r"\b(MIT|MIT-0|MIT-CMU|BSD|0BSD|Apache|ISC|ISCL|PSF|Python Software Foundation|CNRI-Python|MPL|Mozilla|Zlib|CC0|Artistic|Unlicense|HPND)\b",
    re.IGNORECASE,
)
COPYLEFT = re.compile(r"\b(A?GPL|LGPL|SSPL|BUSL|proprietary|commercial)", re.IGNORECASE)


def name_of(requirement: str) -> str:
    return re.split(r"[ ;<>=\[!~(]", requirement)[0].lower()


def brought(names: list[str]) -> dict[str, str]:
    """Package -> licence of the packages and all they require on this machine."""
    found: dict[str, str] = {}
    while names:
        name = names.pop()
        try:
            told = metadata(name)
        except PackageNotFoundError:
            continue
        if name not in found:
            words = [c.split(" :: ")[-1] for c in told.get_all("Classifier") or [] if c.startswith("License ::")]
            found[name] = told.get("License-Expression") or " OR ".join(words) or (told.get("License") or "")[:200]
            names += [name_of(r) for r in requires(name) or [] if "extra ==" not in r]
    return found


def test_the_manual_names_every_dependency() -> None:
    page, needed = manual.page("licences"), [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["dask"]]
    assert [name_of(one) for one in needed if f"| {name_of(one)} " not in page] == []


def test_everything_brought_along_is_under_a_permissive_licence() -> None:
    found = brought([name_of(one) for one in PROJECT["dependencies"]])
    assert len(found) > 50
    odd = {n: said for n, said in found.items() if not PERMISSIVE.search(said) or (COPYLEFT.search(said) and " OR " not in said)}
    assert odd == {}
