"""The look keeps its promises: contrast, one policy for scripts and styles, vendored files with their licence."""

import itertools
import re
from pathlib import Path

import pytest
from django.conf import settings

from fleet.core.lifecycle import Condition
from fleet.web.marks import CONDITION_SHAPES, SHAPES

ROOT = Path(settings.BASE_DIR)
LOOK = ROOT / "fleet" / "static" / "look"
VENDOR = ROOT / "fleet" / "static" / "vendor"
TOKENS = (LOOK / "tokens.css").read_text(encoding="utf-8")
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
STYLE_SHEETS = sorted(LOOK.glob("*.css"))

BODY, OTHER, SHAPE = 7.0, 4.5, 3.0
PAPERS = ("paper", "raised", "sunk", "accent-wash")
#: Each text with the grounds it stands on and the ratio it must reach (WCAG 2.2: 1.4.6, 1.4.3, 1.4.11).
PAIRS = (
    *((ink, paper, BODY) for ink, paper in itertools.product(("ink",), (*PAPERS, "harm-wash", "late-wash"))),
    *((ink, paper, OTHER) for ink, paper in itertools.product(("ink-soft", "accent", "accent-strong"), PAPERS)),
    ("on-accent", "accent", OTHER),
    ("on-accent", "accent-strong", OTHER),
    ("on-harm", "harm", OTHER),
    ("on-late", "late", BODY),
    ("harm-ink", "harm-wash", BODY),
    ("late-ink", "late-wash", BODY),
    ("accent", "harm-wash", OTHER),
    ("accent", "late-wash", OTHER),
    ("well", "paper", OTHER),
    ("well", "raised", OTHER),
    ("border", "paper", SHAPE),
    ("border", "raised", SHAPE),
    ("border", "sunk", SHAPE),
)


def declared(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6});", block))


def block_after(selector: str) -> dict[str, str]:
    """The colours declared in the first block that follows `selector` in tokens.css."""
    return declared(TOKENS.split(selector, 1)[1].split("}", 1)[0])


LIGHT = block_after(":root {")
DARK = block_after(':root:not([data-theme="light"]) {')
DARK_BY_HAND = block_after(':root[data-theme="dark"] {')


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2, definition of relative luminance)."""
    channels = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (WCAG 2.2, definition of contrast ratio), 1 to 21."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_formula_gives_known_ratios() -> None:
    """Black on white is 21; #767676 is the lightest grey reaching 4.5 on white (widely quoted; from memory)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("ink", "ground", "least"), PAIRS)
def test_each_text_reaches_its_contrast(theme: dict[str, str], ink: str, ground: str, least: float) -> None:
    """Each text and each control's edge is told from its ground, in both themes."""
    assert contrast(theme[ink], theme[ground]) >= least


def test_the_comment_states_the_computed_ratios() -> None:
    """The ratios written in tokens.css are the ones its colours have."""
    stated = re.findall(r"([\w-]+) on ([\w-]+)\s+([\d.]+)\s+([\d.]+)", TOKENS)
    assert {(ink, ground) for ink, ground, *_ in stated} == {(ink, ground) for ink, ground, _ in PAIRS}
    for ink, ground, light, dark in stated:
        assert (light, dark) == tuple(f"{contrast(theme[ink], theme[ground]):.1f}" for theme in (LIGHT, DARK))


def test_dark_by_system_and_dark_by_hand_are_the_same() -> None:
    """The two dark blocks of tokens.css hold the same colours, and every light colour has a dark one."""
    assert DARK == DARK_BY_HAND
    assert DARK.keys() == LIGHT.keys()


@pytest.mark.parametrize("sheet", STYLE_SHEETS, ids=lambda path: path.name)
def test_only_the_tokens_name_colours(sheet: Path) -> None:
    """No sheet but tokens.css and the black-on-white print.css names a colour, and none loads from elsewhere."""
    text = sheet.read_text(encoding="utf-8")
    assert not re.search(r"url\(|@import", text)
    if sheet.name not in {"tokens.css", "print.css"}:
        assert not re.search(r"#[0-9a-f]{3,8}\b|rgb\(|hsl\(", text)


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_no_template_needs_inline_style_or_script(template: Path) -> None:
    """Each template lives under script-src 'self' and style-src 'self': nothing inline, nothing from elsewhere."""
    text = template.read_text(encoding="utf-8")
    assert not re.search(r"<[^>]*\s(style|on\w+|hx-on[\w:-]*)\s*=", text)
    assert not re.search(r"<style|<script(?![^>]*\bsrc=)", text)
    assert not re.search(r"""(src|href)=["'](https?:)?//""", text)


@pytest.mark.parametrize("folder", sorted(VENDOR.iterdir()), ids=lambda path: path.name)
def test_each_vendored_package_has_its_version_and_licence(folder: Path) -> None:
    """A vendored folder is named package-version, holds its licence and a file that some template uses."""
    assert re.fullmatch(r"[a-z.-]+-\d+\.\d+\.\d+", folder.name)
    assert (folder / "LICENSE").read_text(encoding="utf-8").strip()
    assert any(folder.name in template.read_text(encoding="utf-8") for template in TEMPLATES)


def test_each_mark_has_a_shape_of_its_own() -> None:
    """Every condition and every other mark has a drawn symbol, and no two conditions share one."""
    drawn = set(re.findall(r'id="mark-([\w-]+)"', (ROOT / "templates/marks/sprite.html").read_text(encoding="utf-8")))
    assert drawn >= {*CONDITION_SHAPES.values(), *SHAPES}
    assert set(CONDITION_SHAPES) == set(Condition)
    assert len(set(CONDITION_SHAPES.values())) == len(Condition)
