"""Running figures, which are added up once for a group, against the same figure over the rows that pass its tests."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from workbook_tools.errors import TranslationError
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.expression_trees import parsed
from workbook_tools.layout.measures import is_tally, measure

LAYOUT = case_log()
CELL = st.one_of(st.none(), st.sampled_from(("", "text", True)), st.integers(-3, 9).map(lambda n: n / 2))
LOSS = st.fixed_dictionaries({"stock_row": st.sampled_from((None, 6.0, 7.0)), "date": CELL, "degrees": CELL})


@settings(derandomize=True, max_examples=400, deadline=None)
@given(st.lists(LOSS, max_size=8), st.sampled_from(("<", "<=", ">", ">=")), st.booleans())
def test_running_figures_are_those_of_the_rows(rows: list[dict[str, object]], sign: str, total: bool) -> None:
    what = "total(losses.degrees" if total else "count(losses"
    expression = f"{what}, stock_row == row.stock_row, date {sign} row.date)"
    figure = measure(expression, LAYOUT.tables, "losses")
    assert figure.runs
    log = Computed(LAYOUT, {})
    log.data["losses"] = [dict(row) for row in rows]
    for asking in log.data["losses"]:
        found = log.tally(expression, asking)
        number = isinstance(asking["date"], float)
        if asking["stock_row"] is None or not number:
            assert found is None
        else:
            assert found == pytest.approx(figure.value(rows, None, asking), abs=1e-12)


def test_a_sum_with_a_row_that_is_not_known_is_blank() -> None:
    """Worked by hand: two baths of a lot, 3 and 4 g; what a third one used cannot be read. Another lot has its sum."""
    figure = measure("total(baths.drug_used, lot_row == row.own_row, unless=drug_unsure)", LAYOUT.tables, "stores")
    rows = [{"lot_row": 6.0, "drug_used": 3.0}, {"lot_row": 6.0, "drug_used": 4.0}, {"lot_row": 7.0, "drug_used": 5.0}]
    lots: list[dict[str, object]] = [{"own_row": 6.0}, {"own_row": 7.0}, {"own_row": 8.0}]
    assert [figure.value(rows, None, lot) for lot in lots] == [7, 5, 0]
    rows.append({"lot_row": 6.0, "drug_used": None, "drug_unsure": "yes"})  # type: ignore[dict-item]
    assert [figure.value(rows, None, lot) for lot in lots] == [None, 5, 0]
    used, lot, unsure = (LAYOUT.tables["baths"].cells(key) for key in ("drug_used", "lot_row", "drug_unsure"))
    assert figure.cell_text("", {"own_row": "$Z6"}) == (
        f'IF(COUNTIFS({lot},"="&$Z6,{unsure},"yes")>0,"",SUMIFS({used},{lot},"="&$Z6))'
    )


@pytest.mark.parametrize(
    "expression",
    [
        "count(baths, lot_row == row.own_row, unless=drug_unsure)",
        "total(baths.drug_used, lot_row == row.own_row, unless=no_such_column)",
        "total(baths.drug_used, lot_row == row.own_row, unsure=drug_unsure)",
    ],
)
def test_a_sum_says_by_which_column_it_is_not_known(expression: str) -> None:
    with pytest.raises(TranslationError, match="only total takes `unless`"):
        measure(expression, LAYOUT.tables, "stores")


def test_only_sums_on_one_side_of_a_place_run() -> None:
    """The others are asked row by row; both kinds are in the layout."""
    expressions = [column.expression for table in LAYOUT.log_tables() for column in table.columns]
    own = [text for text in expressions if text.startswith(("total(", "count(")) and "row." in text]
    own = [text for text in own if is_tally(parsed(text, "case log"))]
    runs = {text for text in own if measure(text, LAYOUT.tables, "case log").runs}
    assert runs
    assert runs < set(own)
