"""Rules of the house that no linter knows: they fail the build like any other mistake."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import get_commands, load_command_class
from django.urls import URLPattern, URLResolver, get_resolver

ROOT = Path(settings.BASE_DIR)
FLEET = ROOT / "fleet"
LONGEST_FILE = 400
FOLDERS_WITHOUT_A_SUBJECT = {"management", "migrations", "static"}
DOCUMENTS = "\n".join((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))
OUR_COMMANDS = sorted(name for name, app in get_commands().items() if app == "fleet")
ROOMS = sorted(
    folder.name
    for folder in FLEET.iterdir()
    if (folder / "__init__.py").exists() and folder.name not in FOLDERS_WITHOUT_A_SUBJECT
)
ROOMS_WITH_MODELS = [room for room in ROOMS if (FLEET / room / "models.py").exists()]
PYTHON_FILES = sorted(
    path.relative_to(ROOT).as_posix() for path in FLEET.rglob("*.py") if "migrations" not in path.parts
)
VARIABLES = sorted(
    set(re.findall(r"DATABASE_URL|BENCHWARD_[A-Z_]*[A-Z]", (FLEET / "web" / "environment.py").read_text()))
)
# An address or an option that ties the lock to one package index, anywhere but in a comment.
INDEX_ADDRESS = re.compile(r"^\s*[^#\s].*(https?://|index-url|find-links)|^\s*(-i|-f|--index|--find)\b", re.MULTILINE)


def patterns(resolver: URLResolver, prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    for entry in resolver.url_patterns:
        address = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from patterns(entry, address)
        else:
            yield address, entry


ADDRESSES = dict(patterns(get_resolver()))


@pytest.mark.parametrize("address", ADDRESSES)
def test_each_view_is_guarded(address: str) -> None:
    """Each address says which duty it asks for, or why anybody may see it."""
    assert getattr(ADDRESSES[address].callback, "guarded_by", ""), f"/{address}: add a guard from fleet.web.guards"


@pytest.mark.parametrize("name", OUR_COMMANDS)
def test_each_command_has_help_and_stands_in_the_documents(name: str) -> None:
    """Each command explains itself, and README.md or DEVELOPERS.md tells when to use it."""
    assert load_command_class("fleet", name).help.strip()
    assert re.search(rf"manage\.py {name}\b", DOCUMENTS), (
        f"write about `manage.py {name}` in README.md or DEVELOPERS.md"
    )


@pytest.mark.parametrize("variable", VARIABLES)
def test_each_setting_stands_in_the_readme(variable: str) -> None:
    """Whoever sets Benchward up finds each variable, its meaning and its default in one table."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert re.search(rf"^\| `{variable}` \| .+ \| .+ \|$", readme, re.MULTILINE), f"give {variable} a row in README.md"


def imported_modules(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found.update(f"{node.module}.{name.name}" for name in node.names)
    return found


@pytest.mark.parametrize("room", ROOMS_WITH_MODELS)
def test_each_room_with_models_is_loaded(room: str) -> None:
    """A room whose models Django's loader does not see would have no tables."""
    assert f"fleet.{room}.models" in imported_modules(FLEET / "models.py")


@pytest.mark.parametrize("room", ROOMS)
def test_each_room_stands_on_the_map(room: str) -> None:
    """Whoever opens the house finds each room on the map in README.md or DEVELOPERS.md."""
    assert re.search(rf"^\| .*`{room}`.* \|", DOCUMENTS, re.MULTILINE), f"give `{room}` a row on the map"


@pytest.mark.parametrize("room", ROOMS)
def test_each_room_has_its_place_in_the_layers(room: str) -> None:
    """A room missing from the layers could import anything."""
    layers = (ROOT / "pyproject.toml").read_text(encoding="utf-8").split("[[tool.importlinter.contracts]]")[1]
    assert f"({room})" in layers


@pytest.mark.parametrize("path", PYTHON_FILES)
def test_no_file_is_too_long(path: str) -> None:
    """A file that has outgrown one reading is split by subject."""
    lines = len((ROOT / path).read_text(encoding="utf-8").splitlines())
    assert lines <= LONGEST_FILE, f"{path} has {lines} lines"


@pytest.mark.parametrize("path", sorted(path.name for path in (ROOT / "requirements").iterdir()))
def test_requirements_name_no_index(path: str) -> None:
    """The lock works with whichever package index the machine is set up for."""
    assert not INDEX_ADDRESS.search((ROOT / "requirements" / path).read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "line",
    [
        "--index-url https://index.example.org",
        "-i http://index.example.org",
        "foo @ https://h/foo.whl",
        "--find-links d",
    ],
)
def test_an_index_address_would_be_found(line: str) -> None:
    """The pattern of the rule above sees each way to name an index."""
    assert INDEX_ADDRESS.search(f"django==5.2\n{line}\n")


@pytest.mark.parametrize("path", ["run.txt", "dev.txt", "bench.txt"])
def test_every_locked_package_has_hashes(path: str) -> None:
    """Each pinned line goes on to its hashes, so that no other file can be put in its place."""
    text = (ROOT / "requirements" / path).read_text(encoding="utf-8")
    pinned = re.findall(r"^[A-Za-z0-9].*==.*$", text, re.MULTILINE)
    assert pinned
    assert [line for line in pinned if not line.endswith("\\")] == []


# Derived rows that may go, each with the reason; everything that a user recorded stays.
MAY_DELETE = {
    "fleet/bench/actions/procedures.py": "the steps of a draft are written anew; what they said is kept for undo",
    "fleet/batteries/actions/packs.py": "a forecast is worked out anew each night from tests that stay",
    "fleet/batteries/actions/forecasts.py": "the same",
    "fleet/people/actions/sessions.py": "a session ends when its person may not sign in any more",
    "fleet/people/actions/factor.py": "the secret of a second factor that is off is destroyed; the trail tells of it",
}


@pytest.mark.parametrize("path", PYTHON_FILES)
def test_nothing_recorded_is_deleted(path: str) -> None:
    """No room deletes rows; the few derived ones that may go stand above with the reason."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    deletes = [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "delete"
    ]
    assert not deletes or path in MAY_DELETE, f"{path}:{deletes}: void, close or drop with a date instead"
