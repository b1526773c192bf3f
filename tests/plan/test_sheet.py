"""The bench sheet as tables: amounts in working units, totals, costs, foil, rows for the batch book."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from sagglab.book import open_book
from sagglab.errors import PlanError
from sagglab.materials import TAKE_CARE
from sagglab.plan.factors import Factor
from sagglab.plan.sheet import bench_sheet, even_climb
from sagglab.plan.terms import read_model

FACTORS = (
    Factor("sugar", [0, 4], "g"),
    Factor("copper sulphate", [0, 0.1], "oz"),
    Factor("peak", [1290, 1472], "degF", per="firing"),
    Factor("time", [1, 1.5], "h", per="firing"),
)
ROWS = {
    "pot": ["p02", "p01", "p03", "p04"],
    "firing": ["f2", "f2", "f1", "f1"],
    "day": [1, 1, 2, 2],
    "place": ["low left", "top", "top", "low left"],
    "sugar [g]": [4.0, 0.0, 0.0, 4.0],
    "copper sulphate [oz]": [0.0, 0.1, 0.0, 0.1],
    "peak [degF]": [1472.0, 1472.0, 1290.0, 1290.0],
    "time [h]": [1.0, 1.0, 1.5, 1.5],
    "slip [coats]": [2, 2, 2, 2],
    "copper wire [in]": [10, 10, 10, 10],
    "clay": ["white"] * 4,
    "kiln": ["small"] * 4,
}
SHELF = pd.DataFrame(
    {
        "material": ["sucrose", "copper sulphate"],
        "in stock [g]": [5.0, 500.0],
        "spoon [g]": [3.2, np.nan],
        "packet [g]": [1000.0, 500.0],
        "price": [2.0, 10.0],
        "currency": ["CHF", ""],
    }
)


def planned(factors=FACTORS, rows=ROWS, model="main + two-way"):
    runs = pd.DataFrame(rows)
    runs.index = range(1, len(runs) + 1)
    return SimpleNamespace(
        factors=factors, terms=read_model(factors, model), runs=runs, kind="best", seed=7, notes=("one",)
    )


def without(*headings, **more):
    return planned(rows={name: cells for name, cells in ROWS.items() if name not in headings} | more)


@pytest.fixture(scope="module")
def sheet():
    return bench_sheet(planned(), SHELF)


def test_the_table_has_a_row_for_each_pot_in_bench_order(sheet):
    assert sheet.table.columns.tolist()[:4] == ["firing", "day", "place", "pot"]
    assert sheet.table["pot"].tolist() == ROWS["pot"]
    assert sheet.table["day"].tolist() == ROWS["day"]
    assert sheet.table["sugar [g]"].tolist() == [4, 0, 0, 4]


def test_amounts_are_in_working_units(sheet):
    # 1 oz = 28.349523125 g and 1 in = 2.54 cm, by definition
    assert sheet.table["copper sulphate [g]"].tolist() == pytest.approx([0, 2.8349523125, 0, 2.8349523125])
    assert sheet.table["copper wire [cm]"].tolist() == pytest.approx([25.4] * 4)


def test_spoons_stand_beside_what_was_weighed_under_any_of_its_names(sheet):
    assert sheet.table["sugar [spoons]"].tolist() == [1.25, 0, 0, 1.25]
    assert "copper sulphate [spoons]" not in sheet.table


def test_what_is_set_per_firing_stands_in_the_firings_alone(sheet):
    assert sheet.firings.columns.tolist() == ["firing", "day", "target peak [degC]", "time [min]", "kiln"]
    assert sheet.firings["firing"].tolist() == ["f2", "f1"]
    assert sheet.firings["target peak [degC]"].tolist() == pytest.approx([800, 698.888889])
    assert sheet.firings["time [min]"].tolist() == [60, 90]
    assert not {"kiln", "time [min]", "peak [degC]"} & {*sheet.pots, *sheet.table}


def test_the_rows_of_pots_wait_for_what_comes_out_of_the_kiln(sheet):
    assert sheet.pots.columns.tolist() == [
        *("pot", "firing", "place", "sugar [g]", "copper sulphate [g]", "slip [coats]", "copper wire [cm]"),
        *("clay", "rating", "state", "notes", "plan"),
    ]
    assert sheet.pots["rating"].isna().all()
    assert set(sheet.pots["state"]) == set(sheet.pots["notes"]) == {""}
    assert set(sheet.pots["plan"]) == {"best, seed 7: dealt by lot"}


def test_the_rows_are_tables_that_a_book_takes(sheet, tmp_path):
    sheet.pots.to_csv(tmp_path / "pots.csv", index=False)
    sheet.firings.to_csv(tmp_path / "firings.csv", index=False)
    (tmp_path / "photos.csv").write_text("photo,pot,view,setup\n")
    (tmp_path / "setups.csv").write_text("setup,target\n")
    book = open_book(tmp_path)
    assert str(book.problems.stopping) == "no problems"
    assert {problem.cause.split(" '")[0] for problem in book.problems} == {"no photograph shows"}
    assert book.pots["copper sulphate [g]"].tolist() == sheet.pots["copper sulphate [g]"].tolist()
    assert book.firings["target peak [degC]"].tolist() == sheet.firings["target peak [degC]"].tolist()


def test_totals_add_the_allowance_to_all_but_coats(sheet):
    totals = sheet.totals.set_index("material")
    assert totals["unit"].tolist() == ["g", "g", "coats", "cm"]
    assert totals["on the pots"].tolist() == pytest.approx([8, 5.669904625, 8, 101.6])
    assert totals["to have ready"].tolist() == pytest.approx([8.8, 6.2368950875, 8, 111.76])
    assert totals["short by [g]"].tolist() == pytest.approx([3.8, 0, np.nan, np.nan], nan_ok=True)
    assert sheet.short["material"].tolist() == ["sugar"]


def test_costs_of_pots_firings_and_totals_agree(sheet):
    # sugar 2 a kilogram, copper sulphate 20 a kilogram, a tenth more of each
    assert sheet.costs["cost"].tolist() == pytest.approx([0.0088, 0.0623689509, 0, 0.0711689509])
    assert sheet.firing_costs["firing"].tolist() == ["f2", "f1"]
    assert sheet.firing_costs["cost"].sum() == pytest.approx(sheet.totals["cost"].sum())
    assert sheet.currency == "CHF"


def test_without_a_shelf_there_are_no_spoons_costs_or_shortages():
    sheet = bench_sheet(planned())
    assert not [heading for heading in sheet.table if "spoons" in heading]
    assert sheet.costs.empty and sheet.short.empty and sheet.firing_costs.empty
    assert sheet.totals[["in stock [g]", "short by [g]", "cost"]].isna().all(axis=None)


def test_too_little_for_a_spoon_is_left_to_the_scale():
    shelf = SHELF.assign(**{"spoon [g]": [100.0, np.nan]})
    spoons = bench_sheet(planned(), shelf).table["sugar [spoons]"]
    assert spoons.tolist() == pytest.approx([np.nan, 0, 0, np.nan], nan_ok=True)


def test_foil_by_hand(sheet):
    # pot 12 × 10 cm, 3 cm of packing: π·16 + 5 = 55.27 cm round, 18 + 16 = 34 cm tall, within the roll
    assert sheet.foil.metres == pytest.approx(4 * 2 * (np.pi * 16 + 5) / 100)
    assert "a size assumed because none is stated" in sheet.foil.reckoning
    assert str(sheet.foil) == "4.5 m of foil"


def test_foil_is_cut_pot_by_pot():
    sizes = {"height [cm]": [12, 30, 12, np.nan], "diameter [cm]": [10, 10, 6, 10]}
    sheet = bench_sheet(without(**sizes), foil_layers=2, foil_width_cm=45)
    pieces = sheet.foil.pieces
    assert pieces["pot"].tolist() == sheet.pots["pot"].tolist()
    # the second is 52 cm tall with its ends: two strips for each layer; the third is π·12 + 5 round
    assert pieces["pieces"].tolist() == [2, 4, 2, 2]
    assert pieces["length [cm]"].tolist() == pytest.approx(
        [np.pi * 16 + 5, np.pi * 16 + 5, np.pi * 12 + 5, np.pi * 16 + 5]
    )
    assert pieces["width [cm]"].tolist() == [45, 45, 45, 45]
    assert (pieces["pieces"] * pieces["length [cm]"]).sum() / 100 == pytest.approx(sheet.foil.metres)


def test_a_tall_pot_takes_several_strips():
    sheet = bench_sheet(without(**{"height [mm]": [300] * 4, "diameter [cm]": [10] * 4}), foil_layers=1)
    # 36 + 16 = 52 cm tall: two strips of 45 cm that overlap by 5
    assert sheet.foil.metres == pytest.approx(4 * 2 * (np.pi * 16 + 5) / 100)
    assert "30 cm high and 10 cm wide," in sheet.foil.reckoning and "assumed" not in sheet.foil.reckoning


def test_the_climb_is_even_and_told_each_100_degrees(sheet):
    climb = sheet.climbs["f2"]
    assert climb["temperature_C"].tolist() == pytest.approx([20, 100, 200, 300, 400, 500, 600, 700, 800])
    assert climb["minutes"].iloc[[0, 4, -1]].tolist() == pytest.approx([0, 380 / 780 * 60, 60])
    assert climb["temperature_F"].iloc[-1] == pytest.approx(1472)
    assert sheet.climbs["f1"]["minutes"].iloc[-1] == pytest.approx(90)


def test_a_peak_at_a_round_hundred_is_told_once():
    assert even_climb(700, 60)["temperature_C"].tolist() == [20, 100, 200, 300, 400, 500, 600, 700]


@pytest.mark.parametrize("unknown", ["peak [degF]", "time [h]"])
def test_no_climb_is_told_that_is_not_known(unknown):
    assert bench_sheet(without(unknown)).climbs == {}


def test_what_the_batch_asks(sheet):
    assert sheet.asks[0] == "What does sugar do? 0, 4 g, dealt pot by pot."
    assert sheet.asks[2] == (
        "What does peak do? 699 °C (1290 °F), 800 °C (1472 °F), the same for all pots of a firing."
    )
    assert sheet.asks[-1] == "Does what one does depend on another (any of the 6 pairs)?"


def test_it_is_shown_with_the_care_to_take(sheet):
    assert repr(sheet) == "best, seed 7: 4 pots in 2 firings, 4.5 m of foil; short of sugar by 3.8 g"
    assert TAKE_CARE in sheet._repr_html_()


def test_names_are_not_read_as_markup():
    shown = bench_sheet(without(**{"<b>dust [g]": [1.0] * 4}))._repr_html_()
    assert "<b>dust" not in shown and "&lt;b&gt;dust" in shown


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (
            without(**{"peak [degF]": [1, 2, 3, 3]}),
            "firing 'f2': its pots have several values of target peak",
        ),
        (without(**{"moss [smidgens]": [1] * 4}), r"column 'moss \[smidgens\]'"),
        (without(**{"moss [g]": ["some"] * 4}), r"column 'moss \[g\]': not all of it is a number"),
    ],
)
def test_each_fault_of_the_plan_is_named(plan, words):
    with pytest.raises(PlanError, match=words):
        bench_sheet(plan)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"material": ["sugar", "sucrose"]}, "sugar is there twice"),
        ({"price": [-1.0, 1.0]}, "price is -1"),
        ({"spoon [g]": [0.0, 1.0]}, r"spoon \[g\] is 0"),
        ({"currency": ["CHF", "EUR"]}, "cannot be added up"),
    ],
)
def test_each_fault_of_the_shelf_is_named(changed, words):
    with pytest.raises(PlanError, match=words):
        bench_sheet(planned(), SHELF.assign(**changed))


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"allowance": -0.1}, "allowance"),
        ({"foil_layers": 0}, "foil_layers"),
        ({"foil_width_cm": 5}, "foil_width_cm"),
    ],
)
def test_each_fault_of_what_is_stated_is_named(options, words):
    with pytest.raises(PlanError, match=words):
        bench_sheet(planned(), **options)


def test_a_shelf_from_a_book_serves(tmp_path):
    (tmp_path / "pots.csv").write_text("pot,firing\n")
    (tmp_path / "shelf.csv").write_text("material,in stock [kg],spoon [g]\nsugar,0.005,3.2\n")
    sheet = bench_sheet(planned(), open_book(tmp_path).shelf)
    assert sheet.short["short by [g]"].tolist() == pytest.approx([3.8])
    assert sheet.currency == "" and sheet.costs.empty
