"""The data files inside installed packages, read without importing the packages; a home for one plant."""

from __future__ import annotations

import hashlib
import textwrap
from collections.abc import Callable
from importlib import metadata
from pathlib import Path

import pytest

from pipelines.base.home import Home
from tests import plants

# SHA-256 of the files the figures in these tests were counted on; another release may hold other content.
SHA256 = {
    "water-flow.csv": "6c84efeb8b148dd2ace656f11f5bd90de22dad014b094e3baafd8dbca69c83dc",
    "dryinfluent.csv": "1d6c85865f7e2a030c91a546c79458aec7c7e8bb06d9c28cccd8ead329cf26e2",
    "raininfluent.csv": "a9ad24b8b1f19b0a211c5f16d366868e67650bf98cef60d28c9869fd756928ae",
    "dyninfluent_bsm2.csv": "0a1232662f6d200e6d49138f365418dd00cbb300e6a133cd40c0032e8b335d28",
}


@pytest.fixture(scope="session")
def packaged_file() -> Callable[[str, str], Path]:
    """(distribution, path inside it) -> the file; it must be there and be the known one."""

    def find(distribution: str, inside: str) -> Path:
        path = Path(str(metadata.distribution(distribution).locate_file(inside)))
        assert path.is_file(), f"{distribution} {metadata.version(distribution)} has no {inside}"
        assert hashlib.sha256(path.read_bytes()).hexdigest() == SHA256[path.name], f"{inside} is another file than these tests know"
        return path

    return find


@pytest.fixture
def plant_home(tmp_path: Path) -> Callable[..., Home]:
    """(plant id, time zone, signal, layout as TOML) -> a home with that plant, its inbox empty."""

    def make(plant: str, zone: str, signal: str, layout: str) -> Home:
        line = {"feed_cutoff": "1 m3/h", "polymer_cutoff": "1 L/h", "reference_flow": "300 m3/h"}
        own = plants.tables(line=line, id=plant, time_zone=zone) | {"signals": [], "layouts": []}
        return plants.home_of(tmp_path, plants.toml_of(own) + _block("signals", signal) + _block("layouts", layout), plant)

    return make


def _block(name: str, body: str) -> str:
    return f"\n[[{name}]]\n{textwrap.dedent(body).strip()}\n"
