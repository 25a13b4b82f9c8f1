"""The packaging and the direction of imports."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = [path for top in ("core", "tui", "themes") for path in (ROOT / top).rglob("*.py")]
# Inside core, each layer may import only what stands to its right or in the same layer.
LAYERS = [
    {"documents", "look_back"},
    {"fitting", "faults", "training", "timeline", "signing"},
    {"plan"},
    {"goals", "person", "workspace"},
    {"case", "case_file", "stock", "settings", "likelihood"},
    {"optics", "acuity", "acuity_scale", "optotypes", "print_size", "magnification", "reading", "contrast"},
    {"formula", "errors"},
]


def imported(path: Path) -> list[str]:
    """Every module imported by a file, relative ones resolved to afocal names."""
    package = ["afocal", *path.relative_to(ROOT).parent.parts]
    names = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            stem = ".".join([*base, *(node.module.split(".") if node.module else [])])
            names.append(stem)
            names += [f"{stem}.{alias.name}" for alias in node.names]
    return names


def test_every_folder_with_code_is_packaged():
    """The package list of pyproject.toml is exactly the folders that hold Python or data packages."""
    listed = set(
        tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["packages"]
    )
    found = {"afocal." + ".".join(path.parent.relative_to(ROOT).parts) for path in SOURCES}
    assert listed == found


def test_core_imports_no_screen_and_themes_import_nothing_of_ours():
    """core knows no screen library and no tui; themes know neither core nor tui."""
    for path in SOURCES:
        top = path.relative_to(ROOT).parts[0]
        for name in imported(path):
            if top == "core":
                assert name.split(".")[0] not in ("textual", "rich"), f"{path} imports {name}"
                assert not name.startswith(("afocal.tui", "afocal.themes")), f"{path} imports {name}"
            if top == "themes":
                assert not name.startswith(("afocal.core", "afocal.tui")), f"{path} imports {name}"
                assert name.split(".")[0] != "textual", f"{path} imports {name}"


def test_optics_knows_no_patient():
    """core/optics imports only the formula declarations, errors, constants and its own files."""
    allowed = ("afocal.core.optics", "afocal.core.formula", "afocal.core.errors", "afocal.core.constants")
    for path in (ROOT / "core" / "optics").glob("*.py"):
        for name in imported(path):
            if name.startswith("afocal.core."):
                assert name.startswith(allowed), f"{path} imports {name}"


def test_imports_inside_core_run_one_way():
    """No layer of core imports a layer that stands above it."""
    level = {name: depth for depth, names in enumerate(LAYERS) for name in names}
    for path in SOURCES:
        parts = path.relative_to(ROOT).with_suffix("").parts
        if parts[0] != "core" or parts[1] not in level:
            continue
        for name in imported(path):
            target = name.removeprefix("afocal.core.").split(".")[0]
            if name.startswith("afocal.core.") and target in level:
                assert level[target] >= level[parts[1]], f"{path} imports {name}"


@pytest.mark.parametrize(
    "module",
    [
        "afocal.core.case_file",
        "afocal.core.plan",
        "afocal.core.documents.chart_note",
        "afocal.core.store.index",
        "afocal.tui.command_line",
    ],
)
def test_computing_loads_no_screen(module: str):
    """In a fresh interpreter neither core nor the command line loads the screen library."""
    code = f"import {module}, sys; sys.exit(any(n.split('.')[0] in ('textual', 'rich') for n in sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_plan_of_files_that_were_checked_loads_no_checks(tmp_path: Path):
    """Pydantic is loaded for a stock or settings file that was not seen before, and by nothing else of a plan."""
    from afocal.core.workspace import DEMO

    stock, settings = tmp_path / "stock.toml", tmp_path / "config" / "settings.toml"
    stock.write_bytes((DEMO / "stock.toml").read_bytes())
    settings.parent.mkdir()
    settings.write_text('clinic = "A"\n[assumptions]\nblur_constant = 1\n', "utf-8")
    environment = {
        **os.environ,
        **{f"AFOCAL_{name.upper()}": str(tmp_path / name) for name in ("config", "cache", "state")},
    }
    code = (
        "import sys; from afocal.tui.command_line import main; status = main(sys.argv[1:]);"
        " sys.exit(status + 10 * ('pydantic' in sys.modules))"
    )
    own = ["--cases", str(DEMO / "cases"), "--stock", str(stock), "plan", "LQ-101"]
    for call, expected in ((["--demo", "plan", "LQ-101"], 0), (own, 10), (own, 0)):
        done = subprocess.run(
            [sys.executable, "-c", code, *call], env=environment, capture_output=True, check=False
        )
        assert done.returncode == expected, (call, done.stderr)


def test_nothing_is_posix_only_without_a_branch():
    """Modules that exist on one system only are imported inside a function or a try, never at the top."""
    only = {"fcntl", "termios", "pty", "tty", "resource", "pwd", "grp", "msvcrt", "winreg", "curses"}
    for path in SOURCES:
        for node in ast.parse(path.read_text("utf-8")).body:
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                names = [node.module or ""]
            assert not only & {name.split(".")[0] for name in names}, path


def test_records_are_the_librarys_own():
    """Frozen records are standard dataclasses; we keep no copy of them. What a file brings in is checked by pydantic.

    A home-made record class would start a little faster and would have to be understood, tested and kept by everyone.
    """
    from dataclasses import is_dataclass

    from afocal.core.case import Case
    from afocal.core.settings import Settings
    from afocal.core.stock import Stock, Telescope

    assert all(is_dataclass(record) for record in (Case, Stock, Telescope, Settings))
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and any(alias.name == "dataclass" for alias in node.names):
                assert node.level == 0 and node.module == "dataclasses", (
                    f"{path}: dataclass from {node.module}"
                )
            assert not (isinstance(node, ast.FunctionDef) and node.name == "dataclass"), path


def test_every_data_file_is_packaged():
    """Each file of the packages that is no Python file is matched by a pattern of package-data, and no pattern is idle."""
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["package-data"]
    matched: dict[Path, str] = {}
    for package, patterns in listed.items():
        folder = ROOT / Path(*package.split(".")[1:])
        for pattern in patterns:
            found = [path for path in folder.glob(pattern) if path.is_file()]
            assert found, f"{package}: {pattern} matches nothing"
            matched.update(dict.fromkeys(found, package))
    data = {
        path
        for top in ("core", "tui", "themes")
        for path in (ROOT / top).rglob("*")
        if path.is_file() and path.suffix not in (".py", ".pyc")
    }
    assert data == set(matched)
    assert {path.name for path in data} >= {
        "tasks.toml",
        "stock.toml",
        "LQ-101.toml",
        "handout.toml",
        "intake.md",
    }
