"""The manual: every key, role, unit, reason and command stands in it, generated pages are current, links lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipelines import cli, manual
from pipelines.base import units
from pipelines.base.errors import ExitCode
from pipelines.cli import write_manual
from pipelines.cli.app import COMMANDS
from pipelines.manual import meanings, plant_file_page
from pipelines.plant.blocks import PlantBlocks
from schemas import vocabulary
from schemas.roles import ROLES

ROOT = Path(__file__).resolve().parents[3]
WRITTEN = sorted(manual.FOLDER.glob("*.md"))
MODELS = {block for _, block, _ in plant_file_page.blocks(PlantBlocks, (), is_list=False)}


@pytest.mark.parametrize("topic", write_manual.pages())
def test_generated_page_is_current(topic: str) -> None:
    assert manual.page(topic) == write_manual.pages()[topic], "run: python -m pipelines.cli.write_manual"


@pytest.mark.parametrize("block", sorted(MODELS, key=lambda b: b.__name__), ids=lambda b: b.__name__)
def test_every_key_of_the_plant_file_is_described(block: type) -> None:
    assert [key for key, field in block.model_fields.items() if len(field.description or "") < 8] == []  # type: ignore[attr-defined]


def test_plant_file_page_has_every_key_under_its_block() -> None:
    text = plant_file_page.page()
    for path, block, _ in plant_file_page.blocks(PlantBlocks, (), is_list=False):
        if path:
            section = re.split(rf"^## \[+{re.escape('.'.join(path))}\]+$", text, flags=re.MULTILINE)[1].split("\n## ")[0]
            for key, field in block.model_fields.items():
                assert f"| `{field.alias or key}` |" in section, (path, key)


def test_type_and_unit_of_a_key_are_those_of_the_model() -> None:
    text = plant_file_page.page()
    assert '| `feed_cutoff` | flow as text, "20 gpm" | required |' in text
    assert '| `price_neat` | price by mass as text, "0.66 per lb", at least 0 | none |' in text
    assert "| `range` | [number, number] | none |" in text
    assert "| `since` | date or date-time | required |" in text
    assert "| `from` | date or date-time | required |" in text
    assert '| `kind` | "rotodynamic" / "displacement" | required |' in text


def test_words_of_the_program_are_all_explained() -> None:
    assert set(meanings.REASONS) == set(vocabulary.REASONS)
    assert set(meanings.STATES) == set(vocabulary.RUNNING_STATES)
    assert set(meanings.EXIT_CODES) == set(ExitCode)


def test_reference_names_every_role_unit_and_command() -> None:
    roles, commands = manual.page("roles-and-units"), manual.page("commands")
    assert [role for role in ROLES if f"| `{role}` |" not in roles] == []
    assert [unit for unit in units.UNITS if f"| `{unit}` |" not in roles] == []
    assert [command for command in COMMANDS if f"\n## flocledger {command}" not in commands] == []
    assert "\n## flocledger dispose row" in commands


def test_every_page_is_a_topic_and_every_topic_a_page() -> None:
    own = {topic for topic in manual.topics() if topic not in manual.ELSEWHERE}
    assert {path.stem for path in WRITTEN} == own
    assert all(manual.path_of(topic).is_file() for topic in manual.topics())


@pytest.mark.parametrize("path", [*WRITTEN, ROOT / "README.md", ROOT / "DEVELOPERS.md"], ids=lambda p: p.name)
def test_links_of_a_page_lead_somewhere(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", text):
        assert (path.parent / target).exists(), target


def test_manual_prints_a_page_or_lists_the_topics(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["manual"]) == 0
    listed = capsys.readouterr().out
    assert all(re.search(rf"^  {re.escape(topic)} ", listed, re.MULTILINE) for topic in manual.topics())
    assert cli.run(["manual", "words"]) == 0
    assert "## Exit codes" in capsys.readouterr().out
    assert cli.run(["manual", "nonsense"]) == 3
    assert "topics: tutorial" in capsys.readouterr().err
