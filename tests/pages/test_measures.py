"""A reader's units: what a recorded measure becomes, beside what was recorded."""

import re
from collections.abc import Iterator

import httpx
import pint
import pytest

from graftbook.checks.curves import Charging, Curves, Gear, Gearing
from graftbook.pages import frame
from graftbook.pages.answer.charts import drawn
from graftbook.pages.measures import _WAYS, Units, measured, read_in, tightening, wanted, worked_out
from graftbook.rulebook.units import UNITS
from tests.pages.conftest import text_of

METRIC, IMPERIAL, US, RECORDED = Units.metric, Units.imperial, Units.us, Units.recorded


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("written", "units", "told"),
    [
        ("22.20 mm", IMPERIAL, "0.874 in (22.20 mm)"),
        ("22.20 mm", RECORDED, "22.20 mm"),
        ("22.20 mm", METRIC, "22.20 mm"),
        ("4.5 .. 6 in", METRIC, "114.3 to 152.4 mm (4.5 to 6 in)"),
        ("4.5 .. 6 in", US, "4.5 to 6 in"),
        ("101 mm", US, "3.98 in (101 mm)"),
        ("15 in", METRIC, "381 mm (15 in)"),
        ("0.02 .. 0.05 mm", US, "0.000787 to 0.001969 in (0.02 to 0.05 mm)"),
        ("95 Nm", IMPERIAL, "70 lbf ft (95 Nm)"),
        ("62 lbfft", METRIC, "84 Nm (62 lbf ft)"),
        ("20 Nm", US, "14.8 lbf ft (20 Nm)"),
        ("50 mile", METRIC, "80 km (50 miles)"),
        ("1 mile", METRIC, "1.6 km (1 mile)"),
        ("60 km", US, "37 miles (60 km)"),
        ("1200 kg", US, "2,646 lb (1200 kg)"),
        ("250 g", IMPERIAL, "8.8 oz (250 g)"),
        ("6 l", IMPERIAL, "1.32 imp gal (6 l)"),
        ("6 l", US, "1.6 US gal (6 l)"),
        ("1.2 l", IMPERIAL, "2.1 imp pt (1.2 l)"),
        ("1.2 l", US, "1.27 US qt (1.2 l)"),
        ("1.4 ml", IMPERIAL, "0.085 in³ (1.4 ml)"),
        ("100 ml", US, "3.4 US fl oz (100 ml)"),
        ("3 gal", METRIC, "13.6 l (3 imp gal)"),
        ("3 gal", US, "3.6 US gal (3 imp gal)"),
        ("3 gal", IMPERIAL, "3 imp gal"),
        ("2.5 bar", IMPERIAL, "36 psi (2.5 bar)"),
        ("350 MPa", US, "50,800 psi (350 MPa)"),
        ("90 degC", US, "194 °F (90 °C)"),
        ("0 degC", US, "32 °F (0 °C)"),
        ("-40 degF", METRIC, "−40 °C (−40 °F)"),
        ("100 km/h", IMPERIAL, "62 mph (100 km/h)"),
        ("55 hp", METRIC, "41 kW (55 hp)"),
        ("12 V", US, "12 V"),
        ("60 deg", US, "60°"),
        ("0 mm", US, "0 in (0 mm)"),
        ("16", US, "16"),
        ("", US, ""),
        ("a taper of 3 in", METRIC, "a taper of 3 in"),
        ("6.00-16", METRIC, "6.00-16"),
        ("1/2-20 UNF", METRIC, "1/2-20 UNF"),
    ],
)
def test_a_measure_is_told_as_the_reader_counts(written: str, units: Units, told: str) -> None:
    assert plain(measured(written, units)) == told


def test_what_is_recorded_as_words_is_no_measure() -> None:
    assert measured("12 in", METRIC, "text") == "12 in"
    assert measured("12 in", METRIC, "choice") == "12 in"
    assert plain(measured("12 in", METRIC, "length")) == "305 mm (12 in)"


def test_a_wanted_value_is_told_in_the_readers_measure_and_keeps_its_comparator() -> None:
    """As a record writes it; the comparators are the ones that there are."""
    assert plain(wanted("at least 22 mm", US, "length")) == "at least 0.866 in (22 mm)"
    assert plain(wanted("within 4.5 .. 6 in", METRIC, "length")) == "within 114.3 to 152.4 mm (4.5 to 6 in)"
    assert plain(wanted("equal 16", US, "count")) == "16"
    assert plain(wanted("equal caliper lugs", US, "word")) == "caliper lugs"


@pytest.mark.parametrize(
    ("line", "units", "told"),
    [
        (
            "wheel nuts 1/2-20 UNF, in a star: 62 lbfft; again after 40 miles (clean thread: 5 Nm, no oil)",
            METRIC,
            "wheel nuts 1/2-20 UNF, in a star: 84 Nm (62 lbf ft); again after 64 km (40 miles)"
            " (clean thread: 5 Nm, no oil)",
        ),
        ("head bolts: 95 Nm, then 60 deg", IMPERIAL, "head bolts: 70 lbf ft (95 Nm), then 60 deg"),
        ("drain plug: 20 .. 24 Nm", US, "drain plug: 14.8 to 17.7 lbf ft (20 to 24 Nm)"),
        ("drain plug: 20 .. 24 Nm", RECORDED, "drain plug: 20 to 24 Nm"),
    ],
)
def test_a_tightening_is_told_and_its_note_is_not(line: str, units: Units, told: str) -> None:
    assert plain(tightening(line, units)) == told


def test_figures_of_the_arithmetic_are_told_together() -> None:
    assert plain(worked_out((500, 350), "N", US)) == "112.4 → 78.7 lbf (500 → 350 N)"
    assert plain(worked_out((1200, 1200), "N", US)) == "269.8 lbf (1,200 N)"
    assert plain(worked_out((None, 350), "N", US)) == "not known → 350 N"
    assert plain(worked_out((90,), "km/h", METRIC)) == "90 km/h"


PINT = {
    "degC": "degC", "degF": "degF", "lbfft": "force_pound * foot", "kgfm": "kilogram_force * meter",
    "lbf": "force_pound", "kgf": "kilogram_force", "kgf/mm": "kilogram_force / mm",
    "lbf/in": "force_pound / inch",
    "Nm": "newton * meter", "gal": "imperial_gallon", "pt": "imperial_pint", "cwt": "UK_hundredweight",
    "rev/km": "1/km", "rev/mile": "1/mile", "hp": "horsepower", "PS": "metric_horsepower",
    "lb/hph": "pound / horsepower / hour", "g/kWh": "gram / kilowatt / hour",
    "um": "micrometer", "t": "tonne",
    "cc": "cm**3", "in2": "inch**2", "mm2": "mm**2", "cm2": "cm**2", "m2": "m**2",
    "lbf ft": "force_pound * foot", "imp gal": "imperial_gallon", "imp pt": "imperial_pint",
    "imp fl oz": "imperial_fluid_ounce", "US gal": "US_liquid_gallon", "US qt": "US_liquid_quart",
    "US fl oz": "US_fluid_ounce", "imp gal/h": "imperial_gallon / hour",
    "imp gal/min": "imperial_gallon / minute",
    "US gal/h": "US_liquid_gallon / hour", "US gal/min": "US_liquid_gallon / minute",
    "°C": "degC", "°F": "degF",
    "in²": "inch**2", "cm²": "cm**2", "in³": "inch**3", "oz": "ounce", "mile": "mile",
}  # fmt: skip


def conversions() -> Iterator[tuple[Units, str, str]]:
    for units, ways in _WAYS.items():
        for name, some in ways.items():
            yield from ((units, name, way.symbol) for way in some)


@pytest.mark.parametrize(("units", "name", "symbol"), [*conversions()])
def test_every_conversion_is_that_of_another_library(units: Units, name: str, symbol: str) -> None:
    registry = pint.get_application_registry()
    way = next(way for way in _WAYS[units][name] if way.symbol == symbol)
    unit = next(unit for (_, of), unit in UNITS.items() if of == name)
    for number in (37.0, 1.0, 812.5):
        own = (number * unit.factor + unit.offset - way.offset) / way.factor
        other = registry.Quantity(number, PINT.get(name, name)).to(PINT.get(symbol, symbol)).magnitude
        assert own == pytest.approx(other, rel=1e-9)


def test_a_reader_meets_no_unit_of_the_other_kind() -> None:
    """Whatever is recorded in one system has a way into the other, and none into its own."""
    metric, customary = set(_WAYS[METRIC]), set(_WAYS[IMPERIAL])
    assert not metric & customary - {"kgf", "kgfm", "kgf/mm"}
    assert metric >= {"in", "ft", "in2", "mile", "lb", "cwt", "gal", "pt", "mph", "lbf", "psi", "degF"}
    assert customary >= {"mm", "m", "km", "kg", "l", "km/h", "N", "Nm", "bar", "kPa", "degC", "kW"}
    assert set(_WAYS[US]) >= {*customary, "gal", "pt", "cwt"}


def test_a_chart_counts_as_its_reader() -> None:
    gearing = Gearing((Gear("top", 90.0, 100.0),), 80.0)
    charging = Charging((), None, None, 0.8)
    [own] = drawn(Curves((), gearing, charging))
    [miles] = drawn(Curves((), gearing, charging), IMPERIAL)
    assert own["rows"][0]["words"] == "90 → 100 km/h"
    assert miles["rows"][0]["words"] == "55.9 → 62.1 mph"
    assert plain(miles["told"]).endswith("it then runs 62 mph (100 km/h).")
    assert plain(miles["marks"][0]["words"]) == "cruising at 50 mph (80 km/h)"
    for before, after in zip(own["marks"], miles["marks"], strict=True):
        assert after["at"] == pytest.approx(before["at"], abs=1.0), "the shapes are the same"
    assert read_in(None, "km/h", US) == (None, "mph")


ASYNC = pytest.mark.anyio
FITTING = "/fitting?chassis=24PL-018412&fit=QB-3310"


async def choose(browser: httpx.AsyncClient, units: str, following: str = "/guide") -> httpx.Response:
    form = {"units": units, "next": following}
    return await browser.post("/units", data=form, headers={"Sec-Fetch-Site": "same-origin"})


def figures_of(page: httpx.Response) -> list[str]:
    table = page.text.partition('id="figures"')[2].partition("</table>")[0]
    return [plain(cell) for cell in re.findall(r"</th><td>([^<]*)</td>", table)]


@ASYNC
async def test_a_choice_is_kept_and_leads_back(browser: httpx.AsyncClient) -> None:
    before = await browser.get("/component/QB-3310")
    assert '<option value="recorded" selected>' in before.text
    browser.follow_redirects = False
    sent = await choose(browser, "imperial", "/component/QB-3310?chassis=24PL-018412")
    assert sent.status_code == 303
    assert sent.headers["location"] == "/component/QB-3310?chassis=24PL-018412"
    kept = sent.headers["set-cookie"].lower()
    assert kept.startswith("graftbook_units=imperial;")
    assert {"httponly", "samesite=lax", "path=/"} <= set(kept.replace(" ", "").split(";"))
    after = await browser.get("/component/QB-3310")
    assert '<option value="imperial" selected>' in after.text
    assert "Cookie" in after.headers["vary"]


@ASYNC
async def test_figures_are_told_beside_the_recorded_ones(browser: httpx.AsyncClient) -> None:
    recorded = figures_of(await browser.get("/component/QB-3310"))
    assert any(" mm" in figure for figure in recorded)
    await choose(browser, "metric")
    assert figures_of(await browser.get("/component/QB-3310")) == recorded, "they are metric"
    await choose(browser, "imperial")
    own = figures_of(await browser.get("/component/QB-3310"))
    for figure, beside in zip(own, recorded, strict=True):
        told = rf"[\d.,]+( to [\d.,]+)? \S+( \S+)? \({re.escape(beside)}\)"
        assert figure == beside or re.fullmatch(told, figure), figure
    assert sum(figure != beside for figure, beside in zip(own, recorded, strict=True)) >= 3
    await choose(browser, "recorded")
    assert figures_of(await browser.get("/component/QB-3310")) == recorded


@ASYNC
async def test_a_fitting_sequence_tells_how_tight(browser: httpx.AsyncClient) -> None:
    recorded = text_of(await browser.get(FITTING))
    assert "lbf ft" in recorded
    assert "lbfft" not in recorded
    await choose(browser, "metric")
    torques = re.findall(r": (\d+) Nm \((\d+) lbf ft\)", text_of(await browser.get(FITTING)))
    assert torques
    for newton_metres, pounds_feet in torques:
        assert int(newton_metres) == pytest.approx(int(pounds_feet) * 1.3558, abs=0.51)
    await choose(browser, "us")
    assert re.search(r": [\d.]+ lbf ft \(\d+ Nm\)", text_of(await browser.get(FITTING)))


@ASYNC
async def test_what_programs_are_told_never_changes(browser: httpx.AsyncClient) -> None:
    before = await browser.get("/v1/components/QB-3310")
    await choose(browser, "us")
    after = await browser.get("/v1/components/QB-3310")
    assert after.content == before.content
    assert after.headers["etag"] == before.headers["etag"]


@ASYNC
@pytest.mark.parametrize("kept", ["furlongs", "", "METRIC", "<b>"])
async def test_another_word_is_neither_taken_nor_kept(browser: httpx.AsyncClient, kept: str) -> None:
    page = await browser.get("/component/QB-3310", headers={"Cookie": f"graftbook_units={kept}"})
    assert page.status_code == 200
    assert '<option value="recorded" selected>' in page.text
    browser.follow_redirects = False
    assert "set-cookie" not in (await choose(browser, kept)).headers


@ASYNC
async def test_a_choice_is_taken_from_our_own_pages_and_leads_nowhere_else(
    browser: httpx.AsyncClient,
) -> None:
    form = {"units": "us", "next": "/guide"}
    forged = await browser.post("/units", data=form, headers={"Sec-Fetch-Site": "cross-site"})
    assert forged.status_code == 403
    assert "set-cookie" not in forged.headers
    browser.follow_redirects = False
    assert (await choose(browser, "us", "//evil.example/")).headers["location"] == "/"


@ASYNC
async def test_the_charts_of_an_answer_count_as_the_reader(browser: httpx.AsyncClient) -> None:
    answer = "/answer?chassis=24PL-018412&fit=QB-3310"
    assert not re.search(r"\d mph \(\d+ km/h\)", text_of(await browser.get(answer)))
    await choose(browser, "imperial")
    assert re.search(r"in top it then runs \d+ mph \(\d+ km/h\)", text_of(await browser.get(answer)))


def test_a_finding_offers_its_figures_in_the_readers_units() -> None:
    """For a template that shows findings: `finding.figures | in_reader_units`."""
    figures = [
        {"name": "pedal force", "before": 500.0, "after": 350.0, "unit": "N"},
        {"name": "duty", "before": None, "after": 80.0, "unit": "%"},
    ]
    shown = frame._environment().from_string(
        "{% for what, much in figures | in_reader_units %}{{ what }}: {{ much }};{% endfor %}"
    )
    told = plain(shown.render(figures=figures, units=IMPERIAL))
    assert told == "pedal force: 112.4 → 78.7 lbf (500 → 350 N);"
    assert shown.render(figures=figures, units=METRIC) == ""
