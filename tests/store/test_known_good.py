"""The memory of files that were found good: it saves work and never lets a bad file pass."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path

import pytest

from afocal.core.record_file import WrongRow, checked, known_good
from afocal.core.settings import Settings, loads_settings, settings_known_good
from afocal.core.stock import Telescope, loads_stock, stock_known_good
from afocal.core.store import known_good as memory_of
from afocal.core.store.known_good import MOST_KEPT, is_known_good, remember_good
from afocal.core.workspace import DEMO, Workspace

SETTINGS = 'clinic = "A"\ncylinder = "plus"\n[assumptions]\nvertex_mm = 13\n[weights]\nfield = 5\n[keys]\nhelp = "f1"\n'
STOCK = (DEMO / "stock.toml").read_text("utf-8")


@pytest.fixture
def memory(tmp_path: Path) -> Path:
    return tmp_path / "cache" / "known-good.txt"


def test_a_text_is_known_as_it_was_and_for_its_kind_only(memory):
    """Nothing is known at first; one letter more, or another kind, is another text."""
    assert not is_known_good(memory, "stock", STOCK)
    remember_good(memory, "stock", STOCK)
    assert is_known_good(memory, "stock", STOCK)
    assert not is_known_good(memory, "stock", STOCK + " ")
    assert not is_known_good(memory, "settings", STOCK)
    if sys.platform != "win32":
        assert stat.S_IMODE(memory.stat().st_mode) == 0o600
    assert [path.name for path in memory.parent.iterdir()] == [memory.name]


def test_a_changed_program_knows_nothing(memory, monkeypatch):
    """What an older or a newer program found good is checked again."""
    remember_good(memory, "stock", STOCK)
    monkeypatch.setattr(memory_of, "_PROGRAM", memory.parent)
    assert not is_known_good(memory, "stock", STOCK)


def test_the_memory_stays_small_and_bears_damage(memory):
    """Old digests make room; a damaged, missing or unwritable memory knows nothing and does no harm."""
    for number in range(MOST_KEPT + 5):
        remember_good(memory, "stock", f"text {number}")
    assert len(memory.read_text("ascii").split()) == MOST_KEPT
    assert is_known_good(memory, "stock", f"text {MOST_KEPT + 4}")
    assert not is_known_good(memory, "stock", "text 0")
    memory.write_bytes(os.urandom(200_000))
    assert not is_known_good(memory, "stock", "text 9")
    memory.unlink()
    memory.mkdir()
    remember_good(memory, "stock", STOCK)
    assert not is_known_good(memory, "stock", STOCK)


def test_what_is_taken_unchecked_is_what_the_check_gives():
    """The practice stock and settings of every kind, field by field and type by type."""
    stock, problems = loads_stock(STOCK)
    taken = stock_known_good(STOCK)
    assert not problems and taken == stock
    for one, other in zip(taken.telescopes, stock.telescopes, strict=True):
        for name in one.__dataclass_fields__:
            assert type(getattr(one, name)) is type(getattr(other, name)), name
    settings, problems = loads_settings(SETTINGS)
    taken_settings = settings_known_good(SETTINGS)
    assert not problems and taken_settings == settings
    assert type(taken_settings.assume("vertex_mm")) is float
    assert taken_settings.clinic == "A" and taken_settings.weight("field") == 5
    assert Settings() == loads_settings("")[0]


@pytest.mark.parametrize(
    ("written", "key", "read", "is_kept"),
    [
        ('erect = "yes"', "erect", True, False),
        ('weight_g = "45"', "weight_g", 45.0, True),
        ("weight_g = 45", "weight_g", 45.0, True),
    ],
)
def test_a_value_is_the_same_at_every_start(tmp_path, monkeypatch, written, key, read, is_kept):
    """What the check reads otherwise than it is written is checked each time; the value and its type never change."""
    monkeypatch.setenv("AFOCAL_CACHE", str(tmp_path / "cache"))
    path = tmp_path / "stock.toml"
    path.write_text(
        'schema = 1\n[[telescope]]\nid = "a"\ndescription = "A"\ntype = "galilean"\nmagnification = 2\n'
        f"tube_length_mm = 24\nobjective_diameter_mm = 20\n{written}\n",
        "utf-8",
    )
    for _ in range(3):
        stock, problems = Workspace(tmp_path, path, tmp_path / "settings.toml").stock()
        value = getattr(stock.telescopes[0], key)
        assert not problems and value == read and type(value) is type(read)
    assert (tmp_path / "cache" / "known-good.txt").exists() == is_kept


def test_a_bad_file_is_never_remembered(tmp_path, monkeypatch):
    """The same problem is said at each start."""
    monkeypatch.setenv("AFOCAL_CACHE", str(tmp_path / "cache"))
    path = tmp_path / "stock.toml"
    path.write_text(STOCK.replace("tube_length_mm", "tube_lenght_mm", 1), "utf-8")
    said = [
        [str(each) for each in Workspace(tmp_path, path, tmp_path / "s.toml").stock()[1]] for _ in range(2)
    ]
    assert said[0] == said[1] and "did you mean tube_length_mm" in " ".join(said[0])


@pytest.mark.parametrize(
    ("change", "key", "words"),
    [
        ({"magnification": 12.0}, "magnification", "1.05 to 10 x, for example 2.0 (given: 12.0)"),
        ({"magnification": -2.0}, "magnification", "1.05 to 10 x"),
        ({"magnification": float("nan")}, "magnification", "1.05 to 10 x"),
        ({"tube_length_mm": float("inf")}, "tube_length_mm", "8 to 160 mm"),
        ({"weight_g": "heavy"}, "weight_g", "number"),
        ({"ocular": 3}, "ocular", "unknown key"),
        ({"positions": ["upside down"]}, "positions", "bioptic"),
        ({"type": None}, "type", "keplerian"),
    ],
)
def test_a_bad_figure_is_named_with_what_is_accepted(change, key, words):
    """Field, value, what is accepted, an example; a size in a file has no sign and is a finite number."""
    row = {
        "id": "a",
        "description": "A",
        "type": "galilean",
        "magnification": 2,
        "tube_length_mm": 24,
        "objective_diameter_mm": 20,
    }
    assert checked(Telescope, row) == known_good(Telescope, row)
    with pytest.raises(WrongRow) as refused:
        checked(Telescope, {**row, **change})
    assert refused.value.reasons[0].key == key
    assert words in refused.value.reasons[0].reason
