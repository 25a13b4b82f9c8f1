"""The themes that come with the program: contrast of every pair, completeness, and the loader's sentences."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import afocal.themes as themes
from afocal.themes import (
    COLOUR_KEYS,
    LEAST_RATIO,
    PAIRS,
    ThemeData,
    ThemeRefusal,
    built_in_themes,
    contrast_ratio,
    load_theme,
    themes_from,
    weak_pairs,
)
from afocal.tui.theming import framework_theme
from afocal.tui.widgets.roles import ROLES, VARIABLE_DEFAULTS

BUILT_IN = built_in_themes()
EXACT = [theme for theme in BUILT_IN.values() if theme.palette == "exact"]


@pytest.mark.parametrize(
    ("first", "second", "ratio", "tolerance"),
    [
        ("#000000", "#ffffff", 21.0, 1e-9),  # WCAG 2.2, "contrast ratio": ratios range from 1 to 21
        ("#123456", "#123456", 1.0, 1e-9),  # the other end of that range
        ("#767676", "#ffffff", 4.54, 0.005),  # the lightest grey that passes 4.5:1 on white; from memory
        ("#ff0000", "#ffffff", 4.00, 0.005),  # (1 + 0.05) / (0.2126 + 0.05), by hand from the definition
        ("#00ff00", "#000000", 15.30, 0.005),  # (0.7152 + 0.05) / 0.05, by hand
        ("#0000ff", "#ffffff", 8.59, 0.005),  # 1.05 / (0.0722 + 0.05), by hand
    ],
)
def test_contrast_ratio_is_the_published_formula(
    first: str, second: str, ratio: float, tolerance: float
) -> None:
    """The contrast ratio is that of WCAG 2.2, in either order of the colours."""
    assert contrast_ratio(first, second) == pytest.approx(ratio, abs=tolerance)
    assert contrast_ratio(second, first) == pytest.approx(ratio, abs=tolerance)


@pytest.mark.parametrize("theme", EXACT, ids=lambda theme: theme.name)
@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: f"{pair[0]} on {pair[1]}")
def test_every_pair_has_its_contrast(theme: ThemeData, pair: tuple[str, str, str]) -> None:
    """Text has 7:1 or better (WCAG 1.4.6), borders, markers and the caret 3:1 or better (1.4.11)."""
    ink, ground, kind = pair
    ratio = contrast_ratio(theme.colours[ink], theme.colours[ground])
    assert ratio >= LEAST_RATIO["text" if kind == "text" else "mark"]


def test_the_pairs_cover_every_role() -> None:
    """A drawn widget can put no pair of colours on the screen that the contrast test does not see."""
    declared = {(ink, ground): kind for ink, ground, kind in PAIRS}
    for name, role in ROLES.items():
        assert (role.ink, role.ground) in declared, name
        if role.kind == "text":
            assert declared[role.ink, role.ground] == "text", name


def test_every_theme_colour_has_a_default_in_the_widgets() -> None:
    """Widgets and themes know the same set of colours; the caret is the driver's."""
    assert set(COLOUR_KEYS) - {"caret"} == set(VARIABLE_DEFAULTS) - {"selection-style"}


def test_there_is_a_theme_for_each_need() -> None:
    """A light one, two dark ones (one of them warm), and one on the terminal's own palette."""
    assert {(theme.polarity, theme.palette) for theme in BUILT_IN.values()} >= {
        ("light", "exact"),
        ("dark", "exact"),
        ("dark", "terminal"),
    }
    warm = BUILT_IN["warm-room"].colours
    for colour in warm.values():
        red, blue = int(colour[1:3], 16), int(colour[5:7], 16)
        assert red > blue, colour
    brightest = max(themes.relative_luminance(warm[key]) for key in warm if key.endswith("ground"))
    assert brightest < 0.55, "no bright areas against glare"


def test_the_palette_theme_leaves_the_contrast_to_the_terminal() -> None:
    """It uses the terminal's text and ground colour only, reversed where marked: never two colours of the palette,
    whose contrast nobody knows."""
    theme = BUILT_IN["own-palette"]
    assert set(theme.colours.values()) == {"default"}
    assert theme.styles["picked-ground"] == theme.styles["selection-ground"] == "reverse"


@pytest.mark.parametrize("theme", BUILT_IN.values(), ids=lambda theme: theme.name)
def test_nothing_is_left_for_the_framework_to_derive(theme: ThemeData) -> None:
    """Every colour variable that the framework generates from a theme is one of the theme's own colours."""
    converted = framework_theme(theme)
    generated = {**converted.to_color_system().generate(), **converted.variables}
    own = {converted.variables[key] for key in theme.colours}
    for name, value in generated.items():
        if "style" in name or name == "surface-actrive":  # the framework writes the latter so
            continue
        assert value in own, f"{name} = {value}"


def test_themes_import_nothing_of_ours() -> None:
    """The loader stands alone: no relative import, nothing of this program, nothing of the screen framework."""
    tree = ast.parse(Path(themes.__file__).read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0
            names = [node.module or ""]
        for name in names:
            assert name.split(".")[0] not in {"afocal", "textual", "rich"}


def written(folder: Path, **changes: str) -> Path:
    """A theme file made from a good one, with lines replaced (`key = None` takes a line out)."""
    lines = (Path(themes.__file__).parent / "dark_room.toml").read_text(encoding="utf-8").splitlines()
    for key, line in changes.items():
        name = key.replace("_", "-")
        lines = [line if old.startswith(f"{name} =") else old for old in lines]
    path = folder / "mine.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


REFUSED = [
    ({"ink": 'inck = "#ffffff"'}, "colours.inck: this key is not known. (did you mean colours.ink?)"),
    ({"ink": ""}, "colours.ink: this colour is missing."),
    (
        {"ink": 'ink = "white"'},
        "colours.ink: 'white' is given; accepted is #rrggbb (for example #ffd400).",
    ),
    (
        {"polarity": 'polarity = "darkk"'},
        "polarity: darkk is given; accepted is light or dark. (did you mean dark?)",
    ),
    ({"name": "name = 3"}, "name: a text of one line is needed."),
    ({"name": 'nam = "x"'}, "nam: this key is not known. (did you mean name?)"),
    ({"palette": 'palette = "terminal"'}, "colours.ink: '#ffffff' is given; accepted is a colour of"),
]


@pytest.mark.parametrize(("changes", "sentence"), REFUSED, ids=[case[1][:30] for case in REFUSED])
def test_a_bad_theme_file_is_refused_in_one_sentence(
    tmp_path: Path, changes: dict[str, str], sentence: str
) -> None:
    """The refusal names file, key, what is wrong, and the nearest known key."""
    path = written(tmp_path, **changes)
    with pytest.raises(ThemeRefusal) as caught:
        load_theme(path)
    assert str(caught.value).startswith(f"{path}: {sentence}")


def test_broken_and_missing_files_are_refused(tmp_path: Path) -> None:
    """A file that is not TOML, not UTF-8 or not there is refused by name, never with a traceback of the parser."""
    path = tmp_path / "broken.toml"
    for content in (b"name = ", b"\xff\xfe"):
        path.write_bytes(content)
        with pytest.raises(ThemeRefusal, match=r"broken\.toml"):
            load_theme(path)
    with pytest.raises(ThemeRefusal, match=r"cannot be read"):
        load_theme(tmp_path / "absent.toml")


def test_one_bad_file_does_not_hide_the_good_ones(tmp_path: Path) -> None:
    """The user's folder gives its good themes and a refusal for each bad file; a missing folder gives neither."""
    good = written(tmp_path, name='name = "mine"')
    (tmp_path / "zz.toml").write_text("name = 1", encoding="utf-8")
    found, refusals = themes_from(tmp_path)
    assert list(found) == ["mine"]
    assert [refusal.path.name for refusal in refusals] == ["zz.toml"]
    assert good.exists()
    assert themes_from(tmp_path / "none") == ({}, [])


def test_a_weak_theme_of_the_user_is_told(tmp_path: Path) -> None:
    """A pair below its ratio is named with both keys and the ratio."""
    theme = load_theme(written(tmp_path, ink_soft='ink-soft = "#777777"'))
    assert any("ink-soft on ground has a contrast of 4.7 to 1" in sentence for sentence in weak_pairs(theme))
    assert weak_pairs(BUILT_IN["dark-room"]) == []
