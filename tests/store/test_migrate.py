"""Schema steps: explicit, in order, and a newer or senseless number is refused by name."""

from __future__ import annotations

import pytest

from afocal.core.errors import FileRefusal
from afocal.core.store.migrate import Migrations


@pytest.fixture
def migrations() -> Migrations:
    migrations = Migrations("case", 3)

    @migrations.step(1)
    def rename(tables):
        tables["power_d"] = tables.pop("power")
        return tables

    @migrations.step(2)
    def wrap(tables):
        return {**tables, "visit": [{"power_d": tables.pop("power_d")}]}

    return migrations


def test_an_old_file_is_brought_up_step_by_step_and_the_original_stays(migrations, tmp_path):
    """From 1 over 2 to 3, unknown keys survive, and the given tables are not touched."""
    old = {"schema": 1, "power": 2.0, "unknown": {"a": 1}}
    done = migrations.bring_up(tmp_path, old)
    assert (done.came_from, done.tables["schema"]) == (1, 3)
    assert done.tables["visit"] == [{"power_d": 2.0}]
    assert done.tables["unknown"] == {"a": 1}
    assert old == {"schema": 1, "power": 2.0, "unknown": {"a": 1}}


def test_a_present_file_is_not_migrated(migrations, tmp_path):
    """No step runs, and nothing is said to have been migrated."""
    assert migrations.bring_up(tmp_path, {"schema": 3}).came_from is None


@pytest.mark.parametrize(
    ("schema", "reason"),
    [
        (4, "newer than this program"),
        (None, "missing"),
        (0, "is 0"),
        (True, "True"),
        ("1", "'1'"),
        (1.0, "1.0"),
    ],
)
def test_other_numbers_are_refused_with_what_is_expected(migrations, tmp_path, schema, reason):
    """Newer, missing, or no number at all."""
    tables = {} if schema is None else {"schema": schema}
    with pytest.raises(FileRefusal, match=reason) as refused:
        migrations.bring_up(tmp_path, tables)
    assert refused.value.key == "schema"


def test_a_gap_or_a_double_step_is_noticed(migrations, tmp_path):
    """Steps that are missing can be listed, and no step replaces another."""
    assert migrations.missing() == []
    with pytest.raises(ValueError, match="no room"):
        migrations.step(1)(lambda tables: tables)
    with pytest.raises(FileRefusal, match="no longer be read"):
        Migrations("case", 2).bring_up(tmp_path, {"schema": 1})
