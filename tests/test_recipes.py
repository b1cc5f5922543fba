"""The recipes of DEVELOPERS.md, each followed once in a copy of the package, in no more files than told."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import graftbook

pytestmark = pytest.mark.timeout(600)

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = Path(graftbook.__file__).resolve().parent


class House:
    """A copy of the package that a recipe changes, and what it changed of it."""

    def __init__(self, folder: Path) -> None:
        self.api = folder / "api"
        shutil.copytree(PACKAGE, self.api / "graftbook")  # with what is compiled: only what changes is anew
        self.changed: set[str] = set()

    def write(self, name: str, text: str) -> None:
        """A new module."""
        place = self.api / "graftbook" / name
        assert not place.exists()
        place.write_text(text, encoding="utf-8")
        self.changed.add(name)

    def edit(self, name: str, old: str, new: str) -> None:
        """Put `new` in the one place where `old` stands."""
        place = self.api / "graftbook" / name
        text = place.read_text(encoding="utf-8")
        assert text.count(old) == 1, f"{name} says {old!r} {text.count(old)} times"
        place.write_text(text.replace(old, new), encoding="utf-8")
        self.changed.add(name)

    def run(self, program: str, **environment: str) -> str:
        """What a program prints that imports the copy. Fails, with what it said, when the program does."""
        where = f"import graftbook; assert graftbook.__file__.startswith({str(self.api)!r})\n"
        done = subprocess.run(
            [sys.executable, "-c", where + program],
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": os.pathsep.join((str(self.api), str(ROOT))), **environment},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()


@pytest.fixture
def house(tmp_path: Path) -> House:
    return House(tmp_path)


def test_a_check_is_one_module_of_its_subject(house: House) -> None:
    """The finding is in the set's own, its limit and what it reads in the guide."""
    house.edit(
        "checks/fuel.py",
        "    findings = [mixture(before, after), vapour_lock(before, after), pump_flow(before, after)]\n",
        "    findings = [mixture(before, after), vapour_lock(before, after), pump_flow(before, after)]\n"
        "    findings.append(volts_at_the_pump(before, after))\n",
    )
    house.edit(
        "checks/fuel.py",
        "def mixture(",
        'VOLTS = Limit("at most 12 V at an electric pump", "pump data", Provenance.recorded)\n\n\n'
        "def volts_at_the_pump(before: Fitted, after: Fitted) -> Finding:\n"
        '    sides = on_both(before, after, lambda reading: reading.fact("system_voltage"))\n'
        '    return against("fuel.volts", "volts at the pump", sides, VOLTS, "V", at_most(12.0))\n\n\n'
        "def mixture(",
    )
    told = house.run(
        "from graftbook.guide import made\n"
        "from tests.checks.made import Made\n"
        'print(Made().check()["fuel.volts"].verdict)\n'
        'print(Made(facts={"system_voltage": "24 V"}).check()["fuel.volts"].verdict)\n'
        'print("at most 12 V at an electric pump" in made.check_limits())\n'
        'print("system_voltage" in made.kinds_read()["fuel"])\n'
    )
    assert told.split() == ["holds", "fails", "True", "True"]
    assert house.changed == {"checks/fuel.py"}


def test_a_document_is_a_writer_and_a_row(house: House) -> None:
    """It is chosen by Accept, documented, written, and stands among those that a page offers."""
    house.write(
        "orders/papers/slip.py",
        '"""An order as a picking slip: pieces and numbers."""\n\n'
        "from graftbook.orders.papers.parts import Whole, part_of\n\n\n"
        'def order_slip(order: Whole, part: str = "") -> bytes:\n'
        '    """A line a number."""\n'
        '    lines = part_of(order, part)["lines"]\n'
        "    return \"\\n\".join(f\"{line['pieces']} {line['number']}\" for line in lines).encode()\n",
    )
    house.edit(
        "orders/forms.py",
        '    "xlsx": (XLSX,',
        '    "slip": ("text/plain; charset=utf-8", lambda facts, part, house: order_slip(facts, part)),\n'
        '    "xlsx": (XLSX,',
    )
    house.edit(
        "orders/forms.py",
        "from graftbook.orders.papers.xlsx",
        "from graftbook.orders.papers.slip import order_slip\nfrom graftbook.orders.papers.xlsx",
    )
    told = house.run(
        "from graftbook.orders.endpoints import ANSWER\n"
        "from graftbook.orders.forms import DOCUMENTS, form_of, writer\n"
        'print(form_of("text/plain"))\n'
        'print(writer("slip")({"lines": [{"pieces": 2, "number": "QB-3310"}]}).decode())\n'
        'print(ANSWER["content"]["text/plain"]["schema"]["type"])\n'
        'print("slip" in DOCUMENTS)\n'
    )
    assert told.splitlines() == ["slip", "2 QB-3310", "string", "True"]
    assert len(house.changed) == 2


def test_a_route_is_three_files_of_one_room(house: House, sqlite_databases) -> None:
    """It answers, needs no key where reading needs none, and describes what it answers."""
    house.edit(
        "builds/schemas.py",
        "class BuildsOut(",
        "class BuildCountOut(Document):\n    builds: int\n\n\nclass BuildsOut(",
    )
    house.edit(
        "builds/service.py",
        "def create_build(",
        "def counted(engine: Source) -> int:\n"
        '    """How many builds there are."""\n'
        '    return len(list_builds(engine, "", 1_000_000))\n\n\n'
        "def create_build(",
    )
    house.edit("builds/endpoints.py", "import BuildChangeIn, ", "import BuildChangeIn, BuildCountOut, ")
    house.edit(
        "builds/endpoints.py",
        '@router.post(\n    "",\n    operation_id="createBuild",',
        '@router.get("/count", operation_id="countBuilds", summary="How many there are",\n'
        '            responses={200: {"model": BuildCountOut}})\n'
        "def count_builds(service: ServiceDep) -> Response:\n"
        '    return json_answer({"builds": builds.counted(service.engine)})\n\n\n'
        '@router.post(\n    "",\n    operation_id="createBuild",',
    )
    told = house.run(
        "from fastapi.testclient import TestClient\n"
        "from graftbook.app import create_app\n"
        "app = create_app()\n"
        'answer = TestClient(app, base_url="http://127.0.0.1").get("/v1/builds/count")\n'
        "print(answer.status_code, answer.json())\n"
        'described = app.openapi()["paths"]["/v1/builds/count"]["get"]\n'
        'of_answer = described["responses"]["200"]["content"]["application/json"]["schema"]\n'
        'print(described["operationId"], of_answer)\n'
        "app.state.service.close()\n",
        GRAFTBOOK_DATABASE_URL=sqlite_databases.new(),
        GRAFTBOOK_REASONING_PROCESSES="0",
    )
    assert told.splitlines() == [
        "200 {'builds': 0}",
        "countBuilds {'$ref': '#/components/schemas/BuildCountOut'}",
    ]
    assert {Path(name).parent.name for name in house.changed} == {"builds"}
    assert len(house.changed) == 3


CRITERION = (
    (
        "closure/criteria.py",
        ('"price", "labour", "unconfirmed"]', '"price", "labour", "unconfirmed", "hazards"]'),
        ('"flaws", "labour", "unconfirmed"]', '"flaws", "labour", "unconfirmed", "hazards"]'),
        ('    unconfirmed = "unconfirmed"\n', '    unconfirmed = "unconfirmed"\n    hazards = "hazards"\n'),
        (
            '        Criterion.unconfirmed: "unconfirmed",\n',
            '        Criterion.unconfirmed: "unconfirmed",\n        Criterion.hazards: "hazards",\n',
        ),
        (
            "        Criterion.unconfirmed: Words(",
            '        Criterion.hazards: Words("hazard", "hazards", "least harm", "hazards", "count"),\n'
            "        Criterion.unconfirmed: Words(",
        ),
        ("    labour_minutes: int\n", "    labour_minutes: int\n    hazards: int\n"),
        (
            "    labour: int\n    unconfirmed: int\n",
            "    labour: int\n    unconfirmed: int\n    hazards: int\n",
        ),
        (
            '            "unconfirmed": self.unconfirmed,\n',
            '            "unconfirmed": self.unconfirmed,\n            "hazards": self.hazards,\n',
        ),
    ),
    (
        "closure/search/totals.py",
        ("    unconfirmed: int = 0\n", "    unconfirmed: int = 0\n    hazards: int = 0\n"),
        (
            "        unconfirmed=int(not fitment.confirmed),\n",
            "        unconfirmed=int(not fitment.confirmed),\n"
            "        hazards=int(bool((part := scope.component(fit.component)) and part.hazard)),\n",
        ),
        (
            "        summed.unconfirmed + undetermined + _unconfirmed_rules(problem, found),\n",
            "        summed.unconfirmed + undetermined + _unconfirmed_rules(problem, found),\n"
            "        summed.hazards,\n",
        ),
    ),
    (
        "questions/closures/schemas.py",
        (
            "    labour_minutes: int\n    unconfirmed:",
            "    labour_minutes: int\n    hazards: int\n    unconfirmed:",
        ),
        (
            '    unconfirmed: NotRequired[Annotated[int, Field(json_schema_extra={"default": 0})]]\n',
            '    unconfirmed: NotRequired[Annotated[int, Field(json_schema_extra={"default": 0})]]\n'
            '    hazards: NotRequired[Annotated[int, Field(json_schema_extra={"default": 0})]]\n',
        ),
    ),
)
"""What each file says, and what it says when a set's hazards are counted too."""


def test_a_criterion_is_a_row_its_figure_and_its_members(house: House) -> None:
    """Sets are compared by it; next bests, sentences, documents and pages tell it, the API describes it."""
    for name, *edits in CRITERION:
        for old, new in edits:
            house.edit(name, old, new)
    told = house.run(
        "from graftbook.closure.criteria import Criterion\n"
        "from graftbook.closure.words.wording import difference_words\n"
        "from graftbook.pages import words\n"
        "from graftbook.questions.closures.documents import difference_document, totals_document\n"
        "from graftbook.questions.schemas import AskIn\n"
        "from tests.closure.shelf import Shelf, at, changes, needs\n"
        'shelf = Shelf(brake="drum disc", fluid="old cheap mild").part("cheap", hazard="poison", price=50)\n'
        'shelf.add("companions", needs("rule", "disc", at("cheap", "fluid"), at("mild", "fluid")))\n'
        'usual, mild = shelf.ask("disc"), shelf.ask("disc", preference=(Criterion.hazards,))\n'
        'print(changes(usual)["fluid"], changes(mild)["fluid"])\n'
        'print(totals_document(usual.solution.totals)["hazards"], mild.solution.totals.hazards)\n'
        'more = next(c for c in mild.solution.changes if c.position == "fluid").others[0].difference\n'
        "print(difference_words(more))\n"
        'print(difference_document(more)["hazards"], words.DIFFERENCES["hazards"][0])\n'
        'prefer = AskIn.model_json_schema()["properties"]["preference"]\n'
        'print(prefer["maxItems"], prefer["items"]["enum"][-1], prefer["default"][-1])\n'
    )
    assert told.splitlines() == [
        "cheap mild", "1 0", "0.50 less for parts and 1 more hazard", "1 hazards", "8 hazards hazards",
    ]  # fmt: skip
    assert len(house.changed) == 3
