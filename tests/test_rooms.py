"""The rooms: data goes one way, and a module imports only from those above its own."""

import ast
from pathlib import Path

import pytest

import sagglab

PACKAGE = Path(sagglab.__file__).parent

#: From the top down; rooms on one level do not know each other.
LEVELS = (
    {"markup"},
    {"errors"},
    {"units"},
    {"colour"},
    {"materials"},
    {"columns"},
    {"pages"},
    {"delimited", "workbook", "toml_file"},
    {"writing", "progress"},
    {"targets"},
    {"book"},
    {"notes"},
    {"firing", "photo"},
    {"measures"},
    {"model"},
    {"plan"},
    {"setups"},
    {"cautions"},
    {"charts"},
    {"handout"},
    {"widgets"},
    {"study"},
    {"cli"},
)
LEVEL = {room: level for level, rooms in enumerate(LEVELS) for room in rooms}

#: These see only tables and result objects.
SEE_TABLES_ONLY = {"model", "plan", "setups"}
RECORDS = {"delimited", "workbook", "targets", "book", "firing", "photo", "measures"}

DRAWING = {"seaborn", "matplotlib"}
MAY_DRAW = {"charts", "handout"}

MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


def room_of(module):
    return module.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(module):
    """Yield each dotted name that a module imports anywhere in it, inside functions too."""
    package = ["sagglab", *module.relative_to(PACKAGE).parts[:-1]]
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) + 1 - node.level] if node.level else []
            start = ".".join([*base, *filter(None, [node.module])])
            yield from (f"{start}.{alias.name}" for alias in node.names)


def rooms_used(module):
    """Give the other rooms that a module imports from."""
    parts = [name.split(".") for name in imported(module)]
    return {name[1] for name in parts if name[0] == "sagglab" and len(name) > 1} - {room_of(module)}


def named(module):
    return str(module.relative_to(PACKAGE))


@pytest.mark.parametrize("module", MODULES, ids=named)
def test_each_module_is_in_a_known_room(module):
    assert room_of(module) in LEVEL


@pytest.mark.parametrize("module", MODULES, ids=named)
def test_a_module_imports_only_from_rooms_above(module):
    own = LEVEL[room_of(module)]
    assert {room for room in rooms_used(module) if LEVEL.get(room, own) >= own} == set()


@pytest.mark.parametrize(
    "module", [module for module in MODULES if room_of(module) in SEE_TABLES_ONLY], ids=named
)
def test_models_and_plans_see_only_tables(module):
    assert rooms_used(module) & RECORDS == set()


@pytest.mark.parametrize("module", MODULES, ids=named)
def test_only_charts_and_handouts_draw(module):
    drawing = {name.split(".")[0] for name in imported(module)} & DRAWING
    assert not drawing or room_of(module) in MAY_DRAW


@pytest.mark.parametrize("module", [PACKAGE / "__init__.py", *MODULES], ids=named)
def test_a_module_is_short_enough_to_be_read(module):
    # One that wants more has two jobs.
    assert len(module.read_text(encoding="utf-8").splitlines()) <= 350


def test_imports_inside_functions_and_from_the_package_itself_are_seen(tmp_path, monkeypatch):
    monkeypatch.setitem(globals(), "PACKAGE", tmp_path)
    module = tmp_path / "book" / "check.py"
    module.parent.mkdir()
    module.write_text(
        "from sagglab import charts\nfrom ..photo import image\nfrom . import tables\n"
        "def late():\n    import sagglab.study\n    import seaborn as sns\n"
    )
    assert rooms_used(module) == {"charts", "photo", "study"}
    assert "seaborn" in set(imported(module))
